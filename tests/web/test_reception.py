"""At the counter: rows are typed or counted, looked at one by one, and logged whole or not at all."""

import json
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from labresults.actions.samples import register_client, register_matrices
from labresults.models import Sample, Submission
from tests.builders import NOW, Laboratory, a_submission
from tests.web.conftest import TODAY
from tests.web.counter import form, grid, sent_again, shown, wrong_rows

AsRole = Callable[[str], Client]


def test_an_empty_counter_has_empty_rows_and_nothing_to_log(lab: Laboratory, as_role: AsRole) -> None:
    answer = as_role("reception").get(reverse("reception"))
    assert [row.number for row in answer.context["grid"].shown] == [1, 2, 3]
    assert 'name="log" disabled' in answer.content.decode()


def test_sixty_typed_rows_become_a_submission(lab: Laboratory, as_role: AsRole) -> None:
    names = [f"NRD015 {metres}.0 m" for metres in range(60)]
    answer = as_role("reception").post(reverse("reception"), form(lab, log="", **grid(*names)))
    submission = Submission.objects.get()
    assert answer.headers["Location"] == reverse("submission", args=[submission.number])
    assert list(submission.samples.order_by("ordinal").values_list("client_identification", flat=True)) == names


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
        (grid("a", "", delivered_g=["30", ""]), 2, "It is blank."),
        (grid("a", matrix="sold"), 1, "Did you mean “soil”?"),
        (grid("a", "b", delivered_g=["30", "a lot"]), 2, "“a lot” is not a quantity."),
        (grid("a", delivered_mL=["-1"]), 1, "“-1” is not a quantity."),
        (grid("a", own_methods=["AR-8"]), 1, "“AR-8” is not a method in this laboratory."),
        (grid("a", sampled=["2027-01-01"]), 1, "“2027-01-01” is still to come."),
        (grid("a", field_filtered=["half"]), 1, "“half” is neither yes nor no."),
    ],
    ids=["repeated", "blank", "matrix misspelt", "no number", "below zero", "method", "future", "filtered"],
)
def test_a_problem_stands_under_its_row_and_nothing_is_logged(
    rows: dict[str, list[str]], row: int, words: str, lab: Laboratory, as_role: AsRole
) -> None:
    answer = as_role("reception").post(reverse("reception"), form(lab, log="", **rows))
    wrong = wrong_rows(answer)
    assert list(wrong) == [row]
    assert words in wrong[row]
    assert f'id="why{row}"' in answer.content.decode()
    assert not Submission.objects.exists()


def test_struck_and_blank_rows_are_left_out(lab: Laboratory, as_role: AsRole) -> None:
    rows = grid("a", "a", "", "b", delivered_g=["30", "30", "", "30"]) | {"matrix": ["soil", "soil", "", "soil"]}
    as_role("reception").post(reverse("reception"), form(lab, log="", strike=["2"], **rows))
    assert list(Sample.objects.order_by("ordinal").values_list("client_identification", flat=True)) == ["a", "b"]


def test_words_that_differ_in_case_only_are_ours(lab: Laboratory, as_role: AsRole) -> None:
    rows = grid("a", "b", matrix="SOIL", own_methods=["ar-7", ""], own_basis=["Dry", ""])
    answer = as_role("reception").post(reverse("reception"), form(lab, check="", **rows))
    assert [(row["matrix"], row["methods"], row["basis"]) for row in answer.context["grid"].rows] == [
        ("soil", "AR-7", "dry basis"),
        ("soil", "", ""),
    ]


def test_rows_that_name_no_matrix_get_the_one_that_was_chosen(lab: Laboratory, as_role: AsRole) -> None:
    rows = grid("a", "b", matrix="") | {"matrix": ["", "soil"]}
    answer = as_role("reception").post(reverse("reception"), form(lab, check="", matrix_of_rest="rock", **rows))
    assert [row["matrix"] for row in answer.context["grid"].rows] == ["rock", "soil"]


def test_a_word_that_is_no_matrix_is_mended_in_all_its_rows_at_once(lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("reception")
    rows = grid("a", "b", "c", matrix="") | {"matrix": ["Bodem", "soil", "Bodem"]}
    asked = browser.post(reverse("reception"), form(lab, check="", **rows))
    assert [(word.text, word.rows) for word in asked.context["unknown"]] == [("Bodem", 2)]
    mended = browser.post(reverse("reception"), form(lab, replace="", unknown="Bodem", instead="soil", **rows))
    assert [row["matrix"] for row in mended.context["grid"].rows] == ["soil"] * 3
    assert wrong_rows(mended) == {}


@pytest.mark.parametrize(
    ("missing", "changes", "words"),
    [
        ("methods", {"methods": []}, "Choose at least one method, or give every row its own."),
        ("client", {"client": ""}, "This field is required."),
        ("received_at", {"received_at": (TODAY + timedelta(hours=1)).strftime("%Y-%m-%dT%H:%M")}, "still to come"),
        ("temperature_C", {"temperature_C": "-300"}, "greater than or equal to -273.15"),
    ],
)
def test_what_is_missing_above_the_rows_is_asked_and_everything_typed_stays(
    missing: str, changes: dict[str, Any], words: str, lab: Laboratory, as_role: AsRole
) -> None:
    given = form(lab, log="", condition="cool box, ice melted", **grid("a", sampled=["2026-11-16"])) | changes
    answer = as_role("reception").post(reverse("reception"), given)
    assert words in " ".join(answer.context["form"].errors[missing])
    assert [(row["client_identification"], row["sampled"]) for row in answer.context["grid"].rows] == [
        ("a", "2026-11-16")
    ]
    assert "cool box, ice melted" in answer.content.decode()
    assert not Submission.objects.exists()


def test_all_that_is_missing_above_the_rows_is_said_at_once(lab: Laboratory, as_role: AsRole) -> None:
    given = form(lab, log="", client="", methods=[], due_on="soon", **grid("a"))
    errors = as_role("reception").post(reverse("reception"), given).context["form"].errors
    assert set(errors) == {"client", "methods", "due_on"}
    assert len(errors["methods"]) == 1


def test_methods_are_not_missing_where_every_row_has_its_own(lab: Laboratory, as_role: AsRole) -> None:
    given = form(lab, log="", methods=[], **grid("a", "b", own_methods=["AR-7", "AR-7"]))
    as_role("reception").post(reverse("reception"), given)
    assert Submission.objects.get().samples.count() == 2


def test_how_it_arrived_and_what_a_row_says_are_on_the_record(lab: Laboratory, as_role: AsRole) -> None:
    rows = grid(
        "a", sampled=["2026-11-16 07:30"], density=["1.02"], own_hazards=["toxic"], preservation=["nitric acid, pH 2"],
        field_filtered=["yes"],
    )  # fmt: skip
    given = form(
        lab, log="", seals="intact", temperature_C="4.5", kept_days="30", place="cold room", hazards=["flammable"],
        received_at="2026-11-16T10:00", **rows,
    )  # fmt: skip
    as_role("reception").post(reverse("reception"), given)
    submission, sample = Submission.objects.get(), Sample.objects.get()
    assert (submission.seals, submission.temperature_C, submission.kept_days) == ("intact", 4.5, 30)
    assert submission.received_at == NOW.replace(hour=10, minute=0)
    assert (sample.sampled_at, sample.density_kg_per_L) == (NOW.replace(hour=7, minute=30), 1.02)
    assert (sample.hazards, sample.field_filtered) == (["toxic", "flammable"], True)
    assert sample.preservation == "nitric acid, pH 2"
    assert sample.custody.get().place == "cold room"


def test_the_caution_of_a_rows_hazard_is_said_at_once(lab: Laboratory, as_role: AsRole) -> None:
    rows = grid("a", own_hazards=["cyanide"])
    words = as_role("reception").post(reverse("reception"), form(lab, check="", **rows)).content.decode()
    assert "Cyanide leach: never meets acid" in words
    assert "Acid sets hydrogen cyanide free" in words
    assert "own risk assessment, local codes and licensed practice decide" in words


def test_filtration_and_preservation_are_asked_for_waters_only(lab: Laboratory, as_role: AsRole) -> None:
    register_matrices(by=lab.people["quality manager"], at=NOW, area="waters and trade waste", names=["ground water"])
    browser = as_role("reception")
    for matrix, asked in (("soil", False), ("ground water", True)):
        answer = browser.post(reverse("reception"), form(lab, check="", **grid("a", matrix=matrix)))
        names = {column.name for column in answer.context["grid"].columns}
        assert ({"field_filtered", "preservation"} <= names) is asked
        assert ("acidified here on arrival" in answer.content.decode()) is asked


def test_a_column_is_shown_when_it_is_chosen_or_holds_something(lab: Laboratory, as_role: AsRole) -> None:
    rows = grid("a", density=["1.1"])
    answer = as_role("reception").post(
        reverse("reception"), form(lab, check="", columns=["own_basis", "basis"], **rows)
    )
    assert [column.name for column in answer.context["grid"].columns][7:] == ["basis", "density"]


@pytest.mark.parametrize(
    ("asked", "names"),
    [
        (
            {"series_prefix": "NRD016- ", "series_from": "001", "series_to": "003"},
            "NRD016- 001|NRD016- 002|NRD016- 003",
        ),
        ({"series_from": "9", "series_to": "12", "series_skipping": "10-11"}, "9|12"),
    ],
)
def test_a_series_comes_into_the_grid(asked: dict[str, str], names: str, lab: Laboratory, as_role: AsRole) -> None:
    given = form(lab, series="", series_matrix="rock", **asked)
    rows = as_role("reception").post(reverse("reception"), given).context["grid"].rows
    assert "|".join(row["client_identification"] for row in rows) == names
    assert {row["matrix"] for row in rows} == {"rock"}


def test_a_series_that_cannot_be_counted_is_refused_in_words_and_the_rows_stay(
    lab: Laboratory, as_role: AsRole
) -> None:
    given = form(lab, series="", series_from="A1", series_to="9", **grid("a"))
    answer = as_role("reception").post(reverse("reception"), given)
    assert "“A1” is not a whole number" in answer.content.decode()
    assert len(answer.context["grid"].rows) == 1


def test_the_same_form_sent_twice_leads_to_the_submission_that_was_logged(lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("reception")
    key = shown(browser.get(reverse("reception")), "form_key")
    given = form(lab, log="", form_key=key, **grid("a", "b"))
    first = browser.post(reverse("reception"), given)
    second = browser.post(reverse("reception"), given)
    assert first.headers["Location"] == second.headers["Location"]
    assert Submission.objects.count() == 1
    assert "logged already, as S26-0001" in browser.get(second.headers["Location"]).content.decode()


def test_a_draft_learns_whether_its_form_was_logged(lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("reception")
    address = reverse("reception-logged", args=["3f2a"])
    assert browser.get(address).json() == {"number": None}
    browser.post(reverse("reception"), form(lab, log="", form_key="3f2a", **grid("a")))
    assert browser.get(address).json() == {"number": "S26-0001"}


def many(count: int) -> list[list[str]]:
    """Rows as the page's script sends them: identification, matrix, mass, note, methods."""
    return [[f"NRD015 {n}", "soil", "200", "", "AR-7"] for n in range(1, count + 1)]


def in_one_field(rows: list[list[str]]) -> str:
    return json.dumps(
        {"columns": ["client_identification", "matrix", "delivered_g", "note", "own_methods"], "rows": rows}
    )


def test_two_thousand_rows_in_one_field_are_logged_with_few_queries(
    lab: Laboratory, as_role: AsRole, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    browser = as_role("reception")
    a_submission(lab, 1)  # the first delivery of a year also begins its series of numbers
    with django_assert_max_num_queries(38):
        answer = browser.post(reverse("reception"), form(lab, log="", rows=in_one_field(many(2000))))
    assert answer.status_code == 302
    assert Sample.objects.count() == 2001


def test_of_two_thousand_rows_the_wrong_ones_are_shown_mended_and_logged(
    lab: Laboratory, as_role: AsRole, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    browser = as_role("reception")
    rows = many(2000)
    rows[6][0] = rows[5][0]
    rows[1499][1] = "sol"
    with django_assert_max_num_queries(30):
        answer = browser.post(reverse("reception"), form(lab, check="", rows=in_one_field(rows)))
    assert [row.number for row in answer.context["grid"].shown] == [7, 1500]
    assert (len(answer.context["grid"].rows), answer.context["grid"].ready) == (2000, 1998)
    mended = sent_again(answer) | {"client_identification": ["NRD015 7", "NRD015 1500"], "matrix": ["soil", "soil"]}
    logged = browser.post(reverse("reception"), form(lab, log="", **mended))
    assert logged.status_code == 302
    assert Sample.objects.get(ordinal=7).client_identification == "NRD015 7"
    assert Sample.objects.get(ordinal=2000).client_identification == "NRD015 2000"


@pytest.mark.parametrize(("show", "first", "last"), [("1", 1, 200), ("201", 201, 400), ("777", 601, 800)])
def test_many_rows_are_shown_part_by_part(show: str, first: int, last: int, lab: Laboratory, as_role: AsRole) -> None:
    answer = as_role("reception").post(reverse("reception"), form(lab, show=show, rows=in_one_field(many(900))))
    numbers = [row.number for row in answer.context["grid"].shown]
    assert (numbers[0], numbers[-1], len(numbers)) == (first, last, 200)
    assert len(answer.context["grid"].rows) == 900


def test_rows_that_arrive_broken_are_refused(lab: Laboratory, as_role: AsRole) -> None:
    answer = as_role("reception").post(reverse("reception"), form(lab, log="", rows='{"columns": ["matrix"'))
    assert answer.status_code == 409
    assert "The rows did not arrive whole." in answer.content.decode()


def test_another_clients_usual_request_is_not_taken(lab: Laboratory, as_role: AsRole) -> None:
    other = register_client(by=lab.people["reception"], at=NOW, code="other", name="Tern Hollow Grain Co-operative")
    browser = as_role("reception")
    browser.post(reverse("reception"), form(lab, remember="", basis="dry basis"))
    answer = browser.get(reverse("reception-asked"), {"client": other.pk})
    assert "Nothing is remembered yet of what Tern Hollow" in answer.content.decode()
    assert answer.context["form"]["methods"].value() == []
