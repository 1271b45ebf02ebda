"""Receipt and labels of a submission, asked for on its page."""

from collections.abc import Callable
from datetime import date
from io import BytesIO

import pytest
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from labresults.actions.samples import receive_samples
from labresults.models import Submission
from labresults.readers.delivery import DeliveredSample
from tests.builders import Laboratory, a_submission

AsRole = Callable[[str], Client]


def paper(browser: Client, page: str, number: str) -> str:
    answer = browser.get(reverse(page, args=[number]))
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    assert f'filename="{number}-{page}.pdf"' in answer["Content-Disposition"]
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
    submission = delivered(lab, DeliveredSample(1, "core 7", "rock", delivered_g))
    words = paper(as_role("reception"), "receipt", submission.number)
    assert ("Row 1, core 7" in words) == bool(said)
    assert ("little material" in words) == bool(said)
    assert said in words


def test_amounts_are_written_out_and_added(lab: Laboratory, as_role: AsRole) -> None:
    submission = delivered(
        lab, DeliveredSample(1, "a", "rock", "1250000"), DeliveredSample(2, "b", "rock", "0.1", note="dust"),
        DeliveredSample(3, "c", "rock", "0.2"),
    )  # fmt: skip
    words = paper(as_role("reception"), "receipt", submission.number).replace("\N{NO-BREAK SPACE}", " ")
    assert "rock, 1 250 000.3 g together" in words
    assert "2 KF26-00002 b 0.1 dust; little material" in words


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


def test_each_sample_has_its_label_with_number_and_own_name(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, 3)
    words = paper(as_role("preparer"), "labels", submission.number)
    due = submission.requests.get().due_on
    for sample in submission.samples.all():
        assert f"{sample.number} {sample.client_identification} soil" in words
    assert words.count(f"{submission.number}, due {due:%a} {due.day} {due:%b}") == 3


@pytest.mark.parametrize("page", ["receipt", "labels"])
def test_the_pages_of_a_submission_lead_to_its_paper_and_no_other_is_there(
    lab: Laboratory, as_role: AsRole, page: str
) -> None:
    submission = a_submission(lab, 1)
    browser = as_role("reception")
    assert (
        reverse(page, args=[submission.number])
        in browser.get(reverse("submission", args=[submission.number])).content.decode()
    )
    assert browser.get(reverse(page, args=["S26-9999"])).status_code == 404
    assert as_role("client").get(reverse(page, args=[submission.number])).status_code == 403


@pytest.mark.parametrize("page", ["receipt", "labels"])
def test_paper_makes_few_queries_whatever_its_length(
    lab: Laboratory, as_role: AsRole, page: str, django_assert_max_num_queries: Callable[[int], object]
) -> None:
    submission = a_submission(lab, 30)
    browser = as_role("reception")
    with django_assert_max_num_queries(16):  # type: ignore[attr-defined]
        assert browser.get(reverse(page, args=[submission.number])).status_code == 200
