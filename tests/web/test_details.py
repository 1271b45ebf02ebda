"""One submission, sample, method, lot, piece of equipment, event: everything that is known of it."""

from collections.abc import Callable
from datetime import date

import pytest
from django.test import Client
from django.urls import reverse

from labresults.actions.materials import record_equipment_check
from labresults.models import AuditEvent
from tests.builders import Laboratory, a_certificate, a_submission, a_weighed_batch, an_evaluated_run, approved

AsRole = Callable[[str], Client]


def shown(browser: Client, page: str, *arguments: object) -> str:
    answer = browser.get(reverse(page, args=arguments))
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_samples_story_is_whole(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, 2, names=["NRD014 118.0 m", "other"])
    an_evaluated_run(lab, submission)
    approved(lab, submission)
    certificate = a_certificate(lab, submission, draw=False)
    browser, sample = as_role("auditor"), submission.samples.get(ordinal=1)
    words = shown(browser, "sample", sample.number)
    for expected in ("NRD014 118.0 m", submission.number, "AR-7 v1", "B2", "R26-0001", certificate.number, "approved"):
        assert expected in words, expected
    assert "other" not in words


def test_a_samples_page_shows_what_was_printed_beside_what_is_carried(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, 1)
    an_evaluated_run(lab, submission, contents={submission.samples.get().number: {"Cu": 120.04, "Pb": 35.0}})
    approved(lab, submission)
    a_certificate(lab, submission, draw=False)
    words = shown(as_role("auditor"), "sample", submission.samples.get().number)
    assert "120.0400" in words
    assert "120 mg/kg" in words


@pytest.mark.parametrize("lot", ["L-2200", "L-2201", "L-2400"], ids=["blank", "standard", "reference material"])
def test_a_lot_leads_forward_to_what_it_touched(lot: str, lab: Laboratory, as_role: AsRole) -> None:
    touched, untouched = a_submission(lab, 1, names=["a"]), a_submission(lab, 1, names=["b"])
    an_evaluated_run(lab, touched)
    approved(lab, touched)
    a_certificate(lab, touched, draw=False)
    a_weighed_batch(lab, untouched)  # not measured yet
    batches = "2 batches and " if lot == "L-2400" else ""
    page = shown(as_role("quality manager"), "lot", lot)
    words = page.replace("\N{NO-BREAK SPACE}", " ")
    assert f"It stands in {batches}1 run; results of 1 sample and 1 certificate stand on it:" in words
    assert f'href="{reverse("forward")}?kind=lot&amp;name={lot}' in page


def test_a_method_names_the_source_of_each_criterion(lab: Laboratory, as_role: AsRole) -> None:
    words = shown(as_role("analyst"), "method", "AR-7")
    assert words.count("EPA Method 6010D (2018), section 9") == lab.version.criteria.count()
    assert "Hot acids" in words


def test_an_event_opens_on_what_changed(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, 1)
    event = AuditEvent.objects.get(act="receive_samples")
    words = shown(as_role("auditor"), "audit-event", event.seq)
    for expected in (submission.number, "order 26-118", event.sha256, event.previous, "the content gives this hash"):
        assert expected in words, expected


def test_an_overdue_balance_says_so(lab: Laboratory, as_role: AsRole) -> None:
    record_equipment_check(
        by=lab.people["quality manager"], at=lab.later(), equipment=lab.balance, done_on=date(2026, 11, 2),
        due_on=date(2026, 11, 8), what="check weight", passed=True,
    )  # fmt: skip
    assert '<span class="tag fail">overdue</span>' in shown(as_role("quality manager"), "equipment-item", "B2")
    assert "overdue since Sun 8 Nov" in shown(as_role("quality manager"), "today").replace("\n", " ")
