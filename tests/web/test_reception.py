"""At the counter: rows are pasted, looked at one by one, and logged whole or not at all."""

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from labresults.models import Sample, Submission
from tests.builders import Laboratory

AsRole = Callable[[str], Client]


def form(lab: Laboratory, **differing: Any) -> dict[str, Any]:
    return {
        "client": lab.client.pk,
        "methods": [lab.method.pk],
        "basis": "as received",
        "reference": "26-118",
        **differing,
    }


def grid(*identifications: str, matrix: str = "soil", **differing: list[str]) -> dict[str, list[str]]:
    count = len(identifications)
    return {
        "client_identification": list(identifications),
        "matrix": [matrix] * count,
        "delivered_g": ["30"] * count,
        "delivered_mL": [""] * count,
        "note": [""] * count,
        **differing,
    }


def test_pasted_rows_stand_in_the_grid_and_nothing_is_logged(lab: Laboratory, as_role: AsRole) -> None:
    text = "NRD014 112.0 m\tsoil\t214\t\tbag torn\r\n  NRD014 / 113  \trock\n\nNRD014 114.0 m"
    answer = as_role("reception").post(reverse("reception"), form(lab, paste=text, matrix="rock"))
    assert [tuple(row.values()) for _, row, _ in answer.context["rows"]] == [
        ("NRD014 112.0 m", "soil", "214", "", "bag torn"),
        ("  NRD014 / 113  ", "rock", "", "", ""),
        ("NRD014 114.0 m", "rock", "", "", ""),
    ]
    assert not Submission.objects.exists()


def test_sixty_pasted_rows_become_a_submission(lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("reception")
    text = "\n".join(f"NRD015 {metres}.0 m\trock\t200" for metres in range(60))
    shown = browser.post(reverse("reception"), form(lab, paste=text))
    rows = [row for _, row, _ in shown.context["rows"]]
    columns = {name: [row[name] for row in rows] for name in rows[0]}
    answer = browser.post(reverse("reception"), form(lab, log="", **columns))
    submission = Submission.objects.get()
    assert answer.headers["Location"] == reverse("submission", args=[submission.number])
    assert submission.samples.count() == 60
    assert submission.samples.earliest("ordinal").client_identification == "NRD015 0.0 m"


def test_identifications_are_kept_to_the_letter(lab: Laboratory, as_role: AsRole) -> None:
    as_role("reception").post(reverse("reception"), form(lab, log="", **grid("  bin 01 / Ä  ", "bin\u00a002")))
    assert list(Sample.objects.order_by("ordinal").values_list("client_identification", flat=True)) == [
        "  bin 01 / Ä  ",
        "bin\u00a002",
    ]


@pytest.mark.parametrize(
    ("rows", "row", "words"),
    [
        (grid("a", "b", "a"), 3, "Row 1 has this identification already."),
        (grid("a", ""), 2, "It is blank."),
        (grid("a", matrix="sold"), 1, "Did you mean “soil”?"),
        (grid("a", "b", delivered_g=["30", "a lot"]), 2, "“a lot” is not a quantity."),
        (grid("a", delivered_mL=["-1"]), 1, "“-1” is not a quantity."),
    ],
    ids=["repeated", "blank", "matrix misspelt", "no number", "below zero"],
)
def test_a_problem_stands_under_its_row_and_nothing_is_logged(
    rows: dict[str, list[str]], row: int, words: str, lab: Laboratory, as_role: AsRole
) -> None:
    answer = as_role("reception").post(reverse("reception"), form(lab, log="", **rows))
    wrong = {number: " ".join(map(str, problems)) for number, _, problems in answer.context["rows"] if problems}
    assert list(wrong) == [row]
    assert words in wrong[row]
    assert not Submission.objects.exists()


def test_a_struck_row_is_left_out(lab: Laboratory, as_role: AsRole) -> None:
    as_role("reception").post(reverse("reception"), form(lab, log="", strike=["2"], **grid("a", "a", "b")))
    assert list(Sample.objects.order_by("ordinal").values_list("client_identification", flat=True)) == ["a", "b"]


def test_what_is_missing_above_the_rows_is_asked_and_the_rows_stay(lab: Laboratory, as_role: AsRole) -> None:
    given = form(lab, log="", **grid("a"))
    del given["methods"]
    answer = as_role("reception").post(reverse("reception"), given)
    assert "methods" in answer.context["form"].errors
    assert [row["client_identification"] for _, row, _ in answer.context["rows"]] == ["a"]
    assert not Submission.objects.exists()
