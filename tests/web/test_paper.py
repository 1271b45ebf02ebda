"""The receipt of a submission and the bench sheet of a batch, asked for on their pages."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from io import BytesIO

import pytest
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from labresults.actions.asking import AcceptedConcern
from labresults.actions.batches import begin_batch, discard_portion
from labresults.actions.calendar import mark_calendar_day
from labresults.actions.corrections import add_sample, correct_identification, move_sample, strike_sample
from labresults.actions.delivery import receive_samples
from labresults.actions.fire import Fired, record_fire_charges
from labresults.actions.weighings import Weighed, record_weighings
from labresults.models import PreparationBatch, Submission
from labresults.queries.request_review import review
from labresults.readers.delivery import DeliveredSample
from labresults.terms import DayPart, MaterialKind
from tests.actions.test_fire import a_lot
from tests.builders import Laboratory, a_method, a_submission, a_weighed_batch
from tests.render.reading import codes

AsRole = Callable[[str], Client]


def paper(browser: Client, page: str, number: str) -> str:
    answer = browser.get(reverse(page, args=[number]))
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    assert f'filename="{number}-{page}.pdf"' in answer["Content-Disposition"]
    assert answer["Cache-Control"] == "private, no-store"
    return " ".join(" ".join(sheet.extract_text() for sheet in PdfReader(BytesIO(answer.content)).pages).split())


def delivered(lab: Laboratory, *rows: DeliveredSample, **more: object) -> Submission:
    return receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, rows=rows, methods=[lab.method],
        due_on=date(2026, 11, 27), **more,
    )  # fmt: skip


def test_the_receipt_says_what_came_and_when_it_is_due(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, 2, names=["NRD014 118.0 m", '<b>"x&y'])
    words = paper(as_role("reception"), "receipt", submission.number)
    request = submission.requests.get()
    for expected in (
        submission.number,
        "Ninefold Ridge prospect",
        "order 26-118",
        "1 KF26-00001 NRD014 118.0 m 30",
        '2 KF26-00002 <b>"x&y 30',
        "soil, 60 g together",
        "AR-7 v1",
        "Cu Pb in mg/kg; as received",
        f"{request.due_on:%a} {request.due_on.day} {request.due_on:%B %Y}",
        "Reception Person",
    ):
        assert expected in words, expected
    assert "Please read" not in words


@pytest.mark.parametrize(
    ("delivered_g", "said"),
    [
        ("0.89", "enough for one measurement and for no repeat"),
        ("0.44", "less than the test portions need, 0.45 g"),
        ("0.9", ""),
    ],
    ids=["under twice", "under once", "exactly twice"],
)
def test_too_little_material_is_said_on_the_receipt(
    lab: Laboratory, as_role: AsRole, delivered_g: str, said: str
) -> None:
    """Given the lightest portion of 0.45 g; then less than two of them is told to the client."""
    row = DeliveredSample(1, "core 7", "rock", delivered_g)
    found = review([row], methods=[lab.method], at=lab.clock)
    submission = delivered(lab, row, concerns=[AcceptedConcern(one.key, "agreed") for one in found])
    words = paper(as_role("reception"), "receipt", submission.number)
    assert ("Row 1, core 7" in words) == bool(said)
    assert ("little material" in words) == bool(said)
    assert said in words


def test_amounts_are_written_out_and_added(lab: Laboratory, as_role: AsRole) -> None:
    submission = delivered(
        lab, DeliveredSample(1, "a", "rock", "1250000"), DeliveredSample(2, "b", "rock", "1.1", note="dust"),
        DeliveredSample(3, "c", "rock", "2.2"),
    )  # fmt: skip
    words = paper(as_role("reception"), "receipt", submission.number).replace("\N{NO-BREAK SPACE}", " ")
    assert "rock, 1 250 003.3 g together" in words
    assert "2 KF26-00002 b 1.1 dust" in words


def test_what_came_by_mass_and_by_volume_keeps_its_own_unit(lab: Laboratory, as_role: AsRole) -> None:
    submission = delivered(
        lab, DeliveredSample(1, "a", "rock", "30"), DeliveredSample(2, "b", "soil", "", delivered_mL="250")
    )
    words = paper(as_role("reception"), "receipt", submission.number)
    assert "a 30 g" in words
    assert "b 250 mL" in words
    assert "together" not in words


def test_the_condition_and_the_note_of_a_sample_are_on_the_receipt(lab: Laboratory, as_role: AsRole) -> None:
    submission = delivered(
        lab, DeliveredSample(1, "a", "rock", "30", note="bag torn, none lost"), condition="One box was wet."
    )
    words = paper(as_role("reception"), "receipt", submission.number)
    assert "bag torn, none lost" in words
    assert "Condition on receipt. One box was wet." in words


def test_what_was_looked_at_on_arrival_is_on_the_receipt(lab: Laboratory, as_role: AsRole) -> None:
    submission = delivered(
        lab,
        DeliveredSample(1, "a", "rock", "30", hazards=("toxic", "corrosive"), field_filtered="yes", preservation="ice"),
        DeliveredSample(2, "b", "rock", "30"),
        seals="broken", temperature_C=-4.5, sampling="by the client, by its own plan", kept_days=10,
    )  # fmt: skip
    words = paper(as_role("reception"), "receipt", submission.number)
    for expected in (
        "Seals broken",
        "Temperature −4.5 °C on receipt",
        "by the client, by its own plan",
        "1 KF26-00001 a 30 field filtered; ice; toxic; corrosive",
        "Kept until Mon 7 December 2026",  # ten days after Friday 27 November
    ):
        assert expected in words, expected


def test_working_days_are_those_of_the_laboratorys_own_calendar(lab: Laboratory, as_role: AsRole) -> None:
    """Given 16 November (a Monday) and the 27th: nine working days; with the 20th half and the 23rd closed, 7.5."""
    submission = delivered(lab, DeliveredSample(1, "a", "rock", "30"))
    browser = as_role("reception")
    assert "9 working days after receipt" in paper(browser, "receipt", submission.number)
    for day, part in ((20, DayPart.HALF), (23, DayPart.CLOSED)):
        mark_calendar_day(
            by=lab.people["laboratory manager"], at=lab.later(), day=date(2026, 11, day), part=part, name="fair"
        )
    assert "7.5 working days after receipt" in paper(browser, "receipt", submission.number)


def test_what_single_samples_are_asked_otherwise_is_said_by_rows(lab: Laboratory, as_role: AsRole) -> None:
    a_method(lab.people["quality manager"], "FD-4")
    rows = [
        DeliveredSample(row, f"core {row}", "rock", "30", methods=("FD-4",) if row in {2, 3, 5} else ())
        for row in range(1, 6)
    ]
    words = paper(as_role("reception"), "receipt", delivered(lab, *rows).number)
    assert "AR-7 v1 Cu Pb" in words
    assert "Asked for otherwise Rows 2–3, 5: FD-4" in words


def test_an_accepted_concern_is_on_the_receipt_where_the_client_is_told(lab: Laboratory, as_role: AsRole) -> None:
    rows = [DeliveredSample(row, f"core {row}", "rock", mass) for row, mass in ((1, "0.40"), (2, "0.41"), (3, "30"))]
    found = review(rows, methods=[lab.method], at=lab.clock)
    accepted = [AcceptedConcern(one.key, "the client agreed by telephone", one.row == 1) for one in found]
    words = paper(as_role("reception"), "receipt", delivered(lab, *rows, concerns=accepted).number)
    assert "Row 1, core 1. 0.4 g is too little" in words
    assert words.count("The certificate will say so.") == 1
    assert "Row 2, core 2. 0.41 g is less than the test portions need" in words
    assert "telephone" not in words  # a reason is the laboratory's own


def test_what_was_corrected_later_is_on_the_next_receipt(lab: Laboratory, as_role: AsRole) -> None:
    submission, other = a_submission(lab, 3, names=["a", "b", "c"]), a_submission(lab, 1, names=["d"])
    reception, (first, second, third) = lab.people["reception"], submission.samples.order_by("ordinal")
    correct_identification(by=reception, at=lab.later(), reason="misread", sample=first, to="a1")
    strike_sample(by=reception, at=lab.later(), reason="an empty bag", sample=second)
    move_sample(by=reception, at=lab.later(), reason="of the second order", sample=third, to=other)
    add_sample(
        by=reception, at=lab.later(), reason="found in the van", submission=submission,
        row=DeliveredSample(1, "e", "rock", "30"),
    )  # fmt: skip
    browser = as_role("reception")
    words, moved = (paper(browser, "receipt", number) for number in (submission.number, other.number))
    assert "2 samples" in words
    assert "KF26-00001 a1 30 identification corrected Mon 16 Nov, was “a”" in words
    assert "KF26-00002, b. Not to be measured: an empty bag" in words
    assert f"KF26-00003, c. Moved to {other.number}: of the second order" in words
    assert "e 30 added later, Mon 16 Nov" in words
    assert f"c 30 moved here from {submission.number}, Mon 16 Nov" in moved


def test_the_bench_sheet_holds_what_is_recorded_and_room_for_the_rest(lab: Laboratory, as_role: AsRole) -> None:
    number = a_batch_half_weighed(lab).number
    words = paper(as_role("preparer"), "bench-sheet", number)
    for expected in (
        "Hot acids: Work under the hood.",
        "licensed practice decide",
        "Read and in place: Preparer Person",
        "Balance B2, checked",
        f"1 {number} MB1 method blank 50",
        "3 KF26-00001 core 1 0.56 50 × 10 spilled a little",  # outside 0.45 to 0.55 g: why is said
        "4 KF26-00002 core 2 toxic 6",
        "duplicate of tube 7",
        "reference material",
        "Tube 5, KF26-00003 lost: boiled dry; taken again in tube",
        "KF26-00003 (2) core 3",
        "printed by Preparer Person",
        "Tube 4: toxic.",
        "weighed by reagents added by made up by entered by",
        "Printed figures are already recorded. Written ones count only when entered",
    ):
        assert expected in words, expected


def test_the_bench_sheet_of_a_fire_assay_has_crucibles_buttons_and_beads(lab: Laboratory, as_role: AsRole) -> None:
    lab.version = a_method(lab.people["quality manager"], "FA-1", button_low_g=25.0, button_high_g=45.0)
    lab.method = lab.version.method
    batch = a_weighed_batch(lab, a_submission(lab, 1))
    record_fire_charges(
        by=lab.people["preparer"], at=lab.later(), batch=batch, tray="T1",
        flux_lot=a_lot(lab, "F-7", MaterialKind.REAGENT),
        rows=[Fired("KF26-00001", 3, flux_g=120.0, button_g=32.5, bead_mg=1.25)],
    )  # fmt: skip
    words = paper(as_role("preparer"), "bench-sheet", batch.number)
    assert "Crucible Button 25–45 g Bead mg" in words
    assert "KF26-00001 NRD014 112.0 m 0.5 3 32.5 1.25 50" in words
    assert "Tare" not in words


def a_batch_half_weighed(lab: Laboratory) -> PreparationBatch:
    """Three samples, the first weighed with a reason, the second toxic, the third lost and taken again."""
    rows = [DeliveredSample(row, f"core {row}", "rock", "30") for row in (1, 2, 3)]
    rows[1] = replace(rows[1], hazards=("toxic",))
    submission, preparer = delivered(lab, *rows), lab.people["preparer"]
    batch = begin_batch(
        by=preparer, at=lab.later(), method_version=lab.version, samples=list(submission.samples.order_by("ordinal")),
        caution_read=True,
    )  # fmt: skip
    tubes = {portion.label: portion for portion in batch.portions.all()}
    record_weighings(
        by=preparer, at=lab.later(), batch=batch, balance=lab.balance, rows=[
            Weighed("KF26-00001", mass_g=0.56, volume_mL=50.0, dilution="x 10", reason="spilled a little"),
            Weighed(f"{batch.number} MB1", volume_mL=50.0),
        ],
    )  # fmt: skip
    discard_portion(by=preparer, at=lab.later(), reason="boiled dry", portion=tubes["KF26-00003"])
    return batch


def test_the_codes_of_the_bench_sheet_are_laboratory_numbers_and_labels_of_controls(
    lab: Laboratory, as_role: AsRole
) -> None:
    batch = a_batch_half_weighed(lab)
    pdf = as_role("preparer").get(reverse("bench-sheet", args=[batch.number])).content
    tubes = batch.portions.filter(discarded=None).order_by("tube")
    own = {"KF26-00003 (2)": "KF26-00003"}
    assert codes(pdf) == sorted([batch.number, *(own.get(tube.label, tube.label) for tube in tubes)])


@pytest.mark.parametrize(("page", "is_of"), [("receipt", "submission"), ("bench-sheet", "batch")])
def test_paper_is_for_the_laboratory_and_none_is_there_without_its_number(
    lab: Laboratory, as_role: AsRole, page: str, is_of: str
) -> None:
    submission = a_submission(lab, 1)
    number = submission.number if is_of == "submission" else a_weighed_batch(lab, submission).number
    browser = as_role("reception")
    assert reverse(page, args=[number]) in browser.get(reverse(is_of, args=[number])).content.decode()
    assert browser.get(reverse(page, args=["S26-9999"])).status_code == 404
    assert as_role("client").get(reverse(page, args=[number])).status_code == 403


@pytest.mark.parametrize(("page", "most"), [("receipt", 20), ("bench-sheet", 18)])
def test_paper_makes_few_queries_whatever_its_length(
    lab: Laboratory, as_role: AsRole, page: str, most: int, django_assert_max_num_queries: Callable[[int], object]
) -> None:
    submission = a_submission(lab, 20)
    number = submission.number if page == "receipt" else a_weighed_batch(lab, submission).number
    browser = as_role("reception")
    with django_assert_max_num_queries(most):  # type: ignore[attr-defined]
        assert browser.get(reverse(page, args=[number])).status_code == 200
