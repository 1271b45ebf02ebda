"""Pages of certificates: seen before they exist, issued once, amended and withdrawn in the open."""

import hashlib
from collections.abc import Callable
from io import BytesIO
from urllib.parse import urlencode

import pytest
from django.db import IntegrityError, OperationalError
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from labresults.actions.people import enrol_person
from labresults.actions.samples import register_client
from labresults.models import AuditEvent, Submission
from reports.actions import certificates as acts
from reports.models import Certificate
from reports.queries.files import file_name
from tests.builders import NOW, PASSWORD, Laboratory, a_certificate, a_submission, an_evaluated_run, approved

AsRole = Callable[[str], Client]


@pytest.fixture
def ready(lab: Laboratory) -> Submission:
    submission = a_submission(lab)
    an_evaluated_run(lab, submission)
    return approved(lab, submission)


def words(browser: Client, page: str, *args: object) -> str:
    return browser.get(reverse(page, args=args)).content.decode()


def posted(browser: Client, page: str, *args: object, **given: object) -> str:
    return browser.post(reverse(page, args=args), given, follow=True).content.decode()


def test_the_issuer_previews_issues_and_downloads(lab: Laboratory, ready: Submission, as_role: AsRole) -> None:
    browser = as_role("issuer")
    assert "nothing is missing" in words(browser, "certify", ready.number)

    events = AuditEvent.objects.count()
    shown = browser.get(reverse("certificate-preview", args=[ready.number]), {"rule_set": lab.rule_set.pk})
    assert "PREVIEW" in PdfReader(BytesIO(shown.content)).pages[0].extract_text()
    assert (AuditEvent.objects.count(), Certificate.objects.count()) == (events, 0)

    page = posted(browser, "certify", ready.number, rule_set=lab.rule_set.pk)
    assert "C26-0001, issue 1 is issued." in page
    certificate = Certificate.objects.get()
    for file in certificate.files.all():
        sent = browser.get(reverse("certificate-file", args=["C26-0001", 1, file.kind]))
        assert hashlib.sha256(sent.content).hexdigest() == file.sha256
        assert file_name(certificate, file.kind) in sent["Content-Disposition"]
        assert sent["Cache-Control"] == "private, no-store"
    acts = AuditEvent.objects.order_by("seq").values_list("act", flat=True)[events:]
    assert list(acts) == ["issue_certificate", "publish_certificate", "notify_client"]


def test_what_is_missing_is_named_and_nothing_is_issued(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab)
    an_evaluated_run(lab, submission)
    browser = as_role("issuer")
    assert "Cu by AR-7 in KF26-00001 is not approved" in words(browser, "certify", submission.number)
    page = posted(browser, "certify", submission.number, rule_set=lab.rule_set.pk)
    assert "Not ready" in page
    assert not Certificate.objects.exists()


def test_a_second_click_does_not_issue_a_second_certificate(
    lab: Laboratory, ready: Submission, as_role: AsRole
) -> None:
    browser = as_role("issuer")
    posted(browser, "certify", ready.number, rule_set=lab.rule_set.pk)
    page = posted(browser, "certify", ready.number, rule_set=lab.rule_set.pk)
    assert "Amend it, with the reason." in page
    assert Certificate.objects.count() == 1


def test_no_room_is_said_in_words_and_a_fault_of_the_program_is_not_called_that(
    lab: Laboratory, ready: Submission, as_role: AsRole, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails_with(fault: Exception) -> Callable[..., None]:
        def fails(**_: object) -> None:
            raise fault

        return fails

    browser = as_role("issuer")
    monkeypatch.setattr(acts, "issue_certificate", fails_with(OSError(28, "No space left on device")))
    assert "make room, and try again" in posted(browser, "certify", ready.number, rule_set=lab.rule_set.pk)
    for fault in (IntegrityError("UNIQUE constraint failed"), OperationalError("database is locked")):
        monkeypatch.setattr(acts, "issue_certificate", fails_with(fault))
        with pytest.raises(type(fault), match=str(fault)):
            posted(browser, "certify", ready.number, rule_set=lab.rule_set.pk)


def test_somebody_without_the_role_is_refused_in_words(lab: Laboratory, ready: Submission, as_role: AsRole) -> None:
    page = posted(as_role("analyst"), "certify", ready.number, rule_set=lab.rule_set.pk)
    assert "may not issue certificate" in page
    assert not Certificate.objects.exists()


def test_every_printed_number_leads_to_its_trace(lab: Laboratory, ready: Submission, as_role: AsRole) -> None:
    certificate = a_certificate(lab, ready)
    page = words(as_role("auditor"), "certificate", "C26-0001", 1)
    for line in certificate.lines.all():
        place = urlencode({"of": line.sample.number, "column": line.column}).replace("+", "%20")
        assert f"{reverse('printed-trace', args=['C26-0001', 1])}?{place}" in page.replace("&amp;", "&")


def test_a_frozen_certificate_is_drawn_again_from_what_is_frozen(
    lab: Laboratory, ready: Submission, as_role: AsRole
) -> None:
    certificate = a_certificate(lab, ready, draw=False)
    browser = as_role("issuer")
    assert "not drawn yet" in words(browser, "certificate", "C26-0001", 1)
    assert "Certificate, PDF" in posted(browser, "draw-certificate", "C26-0001", 1)
    assert certificate.files.count() >= 2


def test_an_amendment_and_a_withdrawal_need_their_reason(lab: Laboratory, ready: Submission, as_role: AsRole) -> None:
    a_certificate(lab, ready)
    browser = as_role("issuer")
    assert "This field is required" in posted(browser, "amend-certificate", "C26-0001", 1, rule_set=lab.rule_set.pk)
    page = posted(
        browser, "amend-certificate", "C26-0001", 1, rule_set=lab.rule_set.pk, reason="The reference was wrong."
    )
    assert "C26-0001, issue 2" in page
    assert "it replaces C26-0001, issue 1" in page
    assert "Replaced by" in words(browser, "certificate", "C26-0001", 1)
    assert "This field is required" in posted(browser, "withdraw-certificate", "C26-0001", 2)
    assert "Withdrawn on" in posted(browser, "withdraw-certificate", "C26-0001", 2, reason="Another client's samples.")
    assert "withdrawn" in words(browser, "certificates")


def test_a_clients_people_get_their_own_files_and_nobody_elses(lab: Laboratory, ready: Submission) -> None:
    a_certificate(lab, ready)
    other = register_client(by=lab.people["reception"], at=NOW, code="other", name="Other Client")
    answers = {}
    for name, client in (("own", lab.client), ("other", other)):
        person = enrol_person(
            by=lab.people["laboratory manager"], at=NOW, sign_in=name, full_name=f"{name} Person", password=PASSWORD,
            roles=["client"], client=client,
        )  # fmt: skip
        browser = Client()
        browser.force_login(person)
        answers[name] = [
            browser.get(reverse("certificate-file", args=["C26-0001", 1, "pdf"])).status_code,
            browser.get(reverse("certificate", args=["C26-0001", 1])).status_code,
            browser.get(reverse("certificates")).status_code,
        ]
    assert answers == {"own": [200, 403, 403], "other": [404, 403, 403]}


@pytest.mark.parametrize(
    ("page", "most"),
    [("certificates", 14), ("certificate", 15), ("certify", 30), ("amend-certificate", 11), ("amendment-changes", 30)],
)
def test_pages_make_few_queries(
    lab: Laboratory,
    ready: Submission,
    as_role: AsRole,
    page: str,
    most: int,
    django_assert_max_num_queries: Callable[[int], object],
) -> None:
    a_certificate(lab, ready, draw=False)
    args = {"certificates": [], "certify": [ready.number]}.get(page, ["C26-0001", 1])
    browser = as_role("issuer")
    with django_assert_max_num_queries(most):  # type: ignore[attr-defined]
        assert browser.get(reverse(page, args=args)).status_code == 200
