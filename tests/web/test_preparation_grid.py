"""The weighing grid: each mass judged, files and pastes put in, nothing recorded twice, nobody's work overwritten."""

from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from labresults.actions.batches import begin_batch
from labresults.actions.methods import save_layout
from labresults.actions.weighings import Weighed, record_weighings
from labresults.models import AuditEvent, MethodVersion, PreparationBatch, Weighing
from labresults.readers.weighing_layout import WeighingHeadings, WeighingLayout
from tests.builders import NOW, Laboratory, a_submission

AsRole = Callable[[str], Client]
Post = Callable[..., HttpResponse]


def begun(lab: Laboratory, version: MethodVersion | None = None) -> PreparationBatch:
    samples = list(a_submission(lab, 3).samples.order_by("ordinal"))
    return begin_batch(
        by=lab.people["preparer"], at=lab.later(), method_version=version or lab.version, samples=samples,
        caution_read=True,
    )  # fmt: skip


@pytest.fixture
def batch(lab: Laboratory) -> PreparationBatch:
    """Tubes: 1 method blank, 2 reference material, 3 to 5 samples, 6 duplicate of 5."""
    return begun(lab)


def post(as_role: AsRole, batch: PreparationBatch, **given: object) -> Any:
    return as_role("preparer").post(
        reverse("batch", args=[batch.number]),
        {"state": "as received", "usual_volume_mL": "50", "usual_dilution": "", **given},
    )


def row_of(answer: Any, tube: int) -> Any:
    return next(row for row in answer.context["grid"].rows if row.tube.portion.tube == tube)


def problems_of(answer: Any) -> dict[int, str]:
    return {row.tube.portion.tube: " ".join(row.problems) for row in answer.context["grid"].rows if row.problems}


def recorded(*names: str) -> list[Any]:
    return list(Weighing.objects.order_by("pk").values_list("portion__tube", *names))


# ------------------------------------------------------------ recorded


def test_filled_rows_are_recorded_and_the_others_wait(
    lab: Laboratory, batch: PreparationBatch, as_role: AsRole
) -> None:
    given = {"t3-mass_g": "0.5031", "t3-tare_g": "27.9881", "t4-mass_g": "0.4987", "t4-dilution": "1 + 9"}
    post(as_role, batch, balance=lab.balance.pk, **given)
    assert recorded("mass_g", "tare_g", "volume_mL", "dilution", "balance__code") == [
        (3, 0.5031, 27.9881, 50.0, 1.0, "B2"), (4, 0.4987, None, 50.0, 10.0, "B2"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"t3-mass_g": "0.7"}, "0.7 g lies outside 0.45 to 0.55 g."),
        ({"t3-mass_g": "0,5"}, "Mass: “0,5” is not a number."),
        ({"t3-mass_g": "nan"}, "“nan” is not a number."),
        ({"t3-mass_g": "0.5", "t3-dilution": "1:10"}, "Dilution: '1:10' can be read in two ways."),
        ({"t3-volume_mL": "50"}, "has none."),
        ({"t3-mass_g": "0.5", "t3-final_g": "50.2"}, "density"),
    ],
    ids=["outside", "decimal comma", "not finite", "ambiguous dilution", "no mass", "no density"],
)
def test_a_problem_stands_at_its_tube_and_nothing_is_recorded(
    typed: dict[str, str], words: str, batch: PreparationBatch, as_role: AsRole
) -> None:
    answer = post(as_role, batch, **typed, **{"t4-mass_g": "0.5"})
    found = problems_of(answer)
    assert list(found) == [3]
    assert words in found[3]
    assert 'value="0.5"' in answer.content.decode()
    assert not Weighing.objects.exists()


def test_outside_the_window_is_kept_with_a_reason(batch: PreparationBatch, as_role: AsRole) -> None:
    post(as_role, batch, **{"t3-mass_g": "0.7", "t3-reason": "all that there was"})
    assert Weighing.objects.get().reason == "all that there was"


def test_a_second_record_needs_a_reason_and_keeps_the_first(batch: PreparationBatch, as_role: AsRole) -> None:
    post(as_role, batch, **{"t3-mass_g": "0.5"})
    again = {"t3-mass_g": "0.51", "t3-volume_mL": "50.0"}
    assert "was recorded before" in post(as_role, batch, **again).content.decode()
    post(as_role, batch, **again, **{"t3-reason": "misread"})
    assert recorded("version", "mass_g") == [(3, 1, 0.5), (3, 2, 0.51)]


def test_what_is_sent_unchanged_is_not_recorded_again(batch: PreparationBatch, as_role: AsRole) -> None:
    same = {"t3-mass_g": "0.50", "t3-volume_mL": "50.0"}
    post(as_role, batch, **same)
    before = AuditEvent.objects.count()
    assert "nothing was recorded" in post(as_role, batch, **same).content.decode()
    assert (Weighing.objects.count(), AuditEvent.objects.count()) == (1, before)


def test_a_form_that_is_sent_twice_is_recorded_once(batch: PreparationBatch, as_role: AsRole) -> None:
    sent = {"t3-mass_g": "0.5", "t3-seen": "0", "t4-mass_g": "0.51", "t4-seen": "0"}
    for _ in range(2):
        assert post(as_role, batch, **sent).status_code == 302
    assert recorded("version", "mass_g") == [(3, 1, 0.5), (4, 1, 0.51)]


def test_made_up_by_mass_the_volume_follows_from_the_density(batch: PreparationBatch, as_role: AsRole) -> None:
    post(as_role, batch, usual_kg_per_L="1.02", **{"t3-mass_g": "0.5", "t3-final_g": "51"})
    assert recorded("final_g", "solution_kg_per_L", "volume_mL") == [(3, 51.0, 1.02, 50.0)]
    row = row_of(as_role("preparer").get(reverse("batch", args=[batch.number])), 3)
    assert (row.texts["final_g"], row.texts.get("volume_mL", ""), row.factor) == ("51.0", "", 100.0)


def test_the_total_and_the_factor_are_shown_for_what_is_typed_too(batch: PreparationBatch, as_role: AsRole) -> None:
    typed = {"t3-mass_g": "0.2", "t3-dilution": "1 in 10, 1 in 5"}
    row = row_of(post(as_role, batch, **typed), 3)
    assert (row.verdict, row.total, row.factor) == ("outside", 50.0, 12500.0)


def test_another_final_volume_is_said_and_is_kept_with_a_reason(batch: PreparationBatch, as_role: AsRole) -> None:
    typed = {"t3-mass_g": "0.5", "t3-volume_mL": "100"}
    answer = post(as_role, batch, **typed)
    assert problems_of(answer)[3].startswith("Volume: 100 mL is not the 50 mL that the method makes up to. Correct it")
    assert 'data-volume="50.0"' in answer.content.decode()
    assert '<span class="problem" data-apart>not 50 mL</span>' in answer.content.decode()
    assert not Weighing.objects.exists()

    post(as_role, batch, **typed, **{"t3-reason": "no other flask"})
    assert recorded("volume_mL", "reason") == [(3, 100.0, "no other flask")]
    page = as_role("preparer").get(reverse("batch", args=[batch.number])).content.decode()
    assert page.count("data-apart") == 1  # as long as it stands


def test_what_was_copied_from_paper_keeps_when_it_was_read(batch: PreparationBatch, as_role: AsRole) -> None:
    post(as_role, batch, read_at="2026-11-16T17:30", **{"t3-mass_g": "0.5"})
    row = Weighing.objects.get()
    assert (f"{row.observed_at:%d %H:%M}", f"{row.made_at:%d %H:%M}") == ("16 17:30", "17 08:00")


# ------------------------------------------------------------ two people


def by_another(lab: Laboratory, batch: PreparationBatch, tube: int, mass_g: float) -> None:
    label = batch.portions.get(tube=tube).label
    record_weighings(
        by=lab.people["preparer"], at=lab.later(), batch=batch, rows=[Weighed(label, mass_g=mass_g, volume_mL=50.0)]
    )


def test_a_tube_that_another_recorded_meanwhile_is_shown_beside_what_was_typed(
    lab: Laboratory, batch: PreparationBatch, as_role: AsRole
) -> None:
    by_another(lab, batch, 3, 0.49)
    typed = {"t3-mass_g": "0.51", "t3-seen": "0", "t4-mass_g": "0.5", "t4-seen": "0"}
    answer = post(as_role, batch, **typed)
    row = row_of(answer, 3)
    assert "was recorded by Preparer Person meanwhile" in problems_of(answer)[3]
    assert row.side_by_side == [("Mass, g", "0.49", "0.51")]
    assert row.texts["mass_g"] == "0.51"
    assert recorded("mass_g") == [(3, 0.49)]

    post(as_role, batch, **typed, **{"t3-theirs": "on"})
    assert recorded("mass_g") == [(3, 0.49), (4, 0.5)]


def test_a_tube_that_another_recorded_is_left_alone_where_nothing_was_typed(
    lab: Laboratory, batch: PreparationBatch, as_role: AsRole
) -> None:
    by_another(lab, batch, 3, 0.49)
    post(as_role, batch, **{"t3-mass_g": "", "t3-volume_mL": "", "t3-seen": "0", "t4-mass_g": "0.5", "t4-seen": "0"})
    assert recorded("mass_g") == [(3, 0.49), (4, 0.5)]


# ------------------------------------------------------------ files and pastes


def a_file(batch: PreparationBatch, parted: str = ",", more: tuple[tuple[str, ...], ...] = ()) -> SimpleUploadedFile:
    labels = [batch.portions.get(tube=tube).label for tube in (3, 4)]
    lines = [("label", "mass g", "volume mL"), (labels[0], "0.5031", "50.25"), (labels[1], "0.4999", "50.00"), *more]
    return SimpleUploadedFile("balance.csv", "\n".join(parted.join(line) for line in lines).encode("utf-8-sig"))


@pytest.mark.parametrize("parted", [",", ";", "\t"], ids=["comma", "semicolon", "tab"])
def test_a_file_fills_the_grid_and_records_nothing(parted: str, batch: PreparationBatch, as_role: AsRole) -> None:
    answer = post(as_role, batch, file=a_file(batch, parted, (("stranger", "1", "2"),)), **{"t5-mass_g": "0.48"})
    row = row_of(answer, 3)
    assert (row.texts["mass_g"], row.texts["volume_mL"], row.verdict) == ("0.5031", "50.25", "within")
    assert row_of(answer, 5).texts["mass_g"] == "0.48"
    assert "“stranger” is not a tube of this batch." in answer.content.decode()
    assert not Weighing.objects.exists()


def test_rows_of_a_spreadsheet_fill_the_grid_like_a_file(batch: PreparationBatch, as_role: AsRole) -> None:
    label = batch.portions.get(tube=4).label
    answer = post(as_role, batch, pasted=f"label\tmass g\tdilution\n{label}\t0.5002\t1 in 10\n")
    row = row_of(answer, 4)
    assert (row.texts["mass_g"], row.total) == ("0.5002", 10.0)


def test_the_same_file_twice_is_recorded_once(batch: PreparationBatch, as_role: AsRole) -> None:
    filled = row_of(post(as_role, batch, file=a_file(batch)), 3).grid
    sent = {f"t{row.tube.portion.tube}-{n}": row.texts[n] for row in filled.rows for n in ("mass_g", "volume_mL")}
    post(as_role, batch, **sent)
    answer = post(as_role, batch, file=a_file(batch))
    assert "All that this file holds is recorded already" in answer.content.decode()
    assert recorded("version", "mass_g") == [(3, 1, 0.5031), (4, 1, 0.4999)]


def test_a_balance_file_is_read_by_its_saved_layout(lab: Laboratory, batch: PreparationBatch, as_role: AsRole) -> None:
    headings = WeighingHeadings(label="Probe", mass_g="", tare_g="Leer", gross_g="Brutto")
    layout = save_layout(
        by=lab.people["analyst"], at=NOW,
        specification=WeighingLayout(name="B2, printer", headings=headings, decimal_sign=",", heading_row=3),
    )  # fmt: skip
    label = batch.portions.get(tube=3).label
    content = f"balance B2\n\nProbe;Leer;Brutto\n{label};27,9881;28,4893\n".encode()
    answer = post(as_role, batch, file=SimpleUploadedFile("b2.csv", content), layout=layout.pk)
    texts = row_of(answer, 3).texts
    assert (texts["tare_g"], texts["mass_g"]) == ("27.9881", "0.5012")  # gross less tare, exact as decimals


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"tube,weight\n3,0.5\n", "column label: there is no column with this heading."),
        (b"mass g\n0.5\n", "column label: there is no column with this heading."),
        (b"label,mass g\nKF26-00001,O.5\n", "row 2, column mass g"),
        (b"", "The submitted file is empty."),
        (b"\x00\xff\xfe\x00", "0 tubes are filled in."),
    ],
    ids=["other headings", "no label", "no number", "empty", "bytes"],
)
def test_a_file_that_does_not_say_what_it_holds_is_asked_about(
    content: bytes, words: str, batch: PreparationBatch, as_role: AsRole
) -> None:
    answer = post(as_role, batch, file=SimpleUploadedFile("balance.csv", content))
    assert answer.status_code == 200
    assert words in answer.content.decode()
    assert not Weighing.objects.exists()
