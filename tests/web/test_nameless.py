"""Another client's sample that served as duplicate is “another sample of this batch”, wherever the first client looks.

Practice: no number, identification or content of it in any certificate, workbook, file, portal page or report of a run.
"""

from io import BytesIO

import openpyxl
import pytest
from django.test import Client
from django.urls import reverse

from labresults.actions.batches import begin_batch
from labresults.actions.evaluation import accept_control, evaluate_run
from labresults.actions.samples import register_client
from labresults.actions.weighings import Weighed, record_weighings
from reports.models import FILE_KINDS, Certificate
from tests.builders import (
    Laboratory,
    a_certificate,
    a_reader,
    a_reading_file,
    a_run,
    a_submission,
    an_imported_file,
    approved,
)
from tests.render.reading import pages

ANOTHER = "another sample of this batch"
THEIRS = "Eel Quay shaft nine"

PAGES = {
    "their submissions": ("my-submissions", ()),
    "the submission": ("my-submission", ("submission",)),
    "their certificates": ("my-certificates", ()),
    "the certificate": ("my-certificate", ("certificate", "issue")),
    "what anybody may ask": ("verify-code", ("code",)),
}


@pytest.fixture
def certificate(lab: Laboratory) -> Certificate:
    """Of a sample digested beside another client's, whose duplicate failed for lead and was accepted by name."""
    other = register_client(by=lab.people["reception"], at=lab.later(), code="other", name="Eel Quay Water")
    ours, theirs = a_submission(lab, 1), a_submission(lab, 1, client=other, names=[THEIRS])
    (own,), (foreign,) = ours.samples.all(), theirs.samples.all()
    batch = begin_batch(
        by=lab.people["preparer"], at=lab.later(), method_version=lab.version, samples=[own, foreign], caution_read=True
    )
    rows = [Weighed(portion.label, 0.5, 50.0) for portion in batch.portions.all()]
    record_weighings(by=lab.people["preparer"], at=lab.later(), batch=batch, rows=rows)
    run = a_run(lab, batch)
    content = {foreign.number: {"Cu": 777.7, "Pb": 666.6}}
    an_imported_file(lab, run, a_reading_file(run, contents=content, factors={(f"{foreign.number} D", "Pb"): 1.5}))
    evaluation = evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    accept_control(
        by=lab.people["analyst"], at=lab.later(), reason=f"{foreign.number} ({THEIRS}) is coarse",
        outcomes=list(evaluation.outcomes.filter(verdict="outside")),
    )  # fmt: skip
    assert foreign.number == "KF26-00002"
    return a_certificate(lab, approved(lab, ours))


@pytest.fixture
def browser(lab: Laboratory) -> Client:
    made = Client()
    made.force_login(a_reader(lab))
    return made


SECRETS = ("KF26-00002", THEIRS, "Eel Quay", "777.7", "666.6", "999.9")


def _said(text: str) -> set[str]:
    return {secret for secret in SECRETS if secret in text}


def _words(kind: str, content: bytes) -> str:
    """Everything that a reader of a file can read in it."""
    if kind == "pdf":
        return " ".join(pages(content))
    if kind == "xlsx":
        sheets = openpyxl.load_workbook(BytesIO(content)).worksheets
        return " ".join(str(cell) for sheet in sheets for row in sheet.iter_rows(values_only=True) for cell in row)
    return content.decode()


def test_every_file_and_page_of_the_client_leaves_it_nameless(browser: Client, certificate: Certificate) -> None:
    things = {
        "submission": certificate.submission.number, "certificate": certificate.number, "issue": certificate.issue,
        "code": certificate.check_code,
    }  # fmt: skip
    told = {}
    for kind in FILE_KINDS:
        answer = browser.get(reverse("certificate-file", args=[certificate.number, certificate.issue, kind]))
        words = _words(kind, b"".join(answer.streaming_content) if answer.streaming else answer.content)
        told[kind] = _said(words)
        # In the appendix, or in the remark beside what was accepted; a row a sample has the letter of the remark only.
        assert (ANOTHER in words) == (kind != "csv"), kind
    for page, (name, arguments) in PAGES.items():
        answer = browser.get(reverse(name, args=[things[argument] for argument in arguments]))
        assert answer.status_code == 200, page
        told[page] = _said(answer.content.decode())
    assert {place: found for place, found in told.items() if found} == {}


@pytest.mark.parametrize("address", ["run-report", "run"])
def test_what_speaks_of_a_whole_run_is_the_laboratorys(
    browser: Client, certificate: Certificate, lab: Laboratory, address: str
) -> None:
    run = certificate.lines.exclude(result=None).first().result.evaluation.run.number
    assert browser.get(reverse(address, args=[run])).status_code == 403
    browser.force_login(lab.people["auditor"])
    assert browser.get(reverse(address, args=[run])).status_code == 200


def test_the_report_of_a_run_names_no_client_and_no_identification(certificate: Certificate, lab: Laboratory) -> None:
    run = certificate.lines.exclude(result=None).first().result.evaluation.run.number
    staff = Client()
    staff.force_login(lab.people["auditor"])
    text = " ".join(pages(staff.get(reverse("run-report", args=[run])).content))
    assert "Eel Quay Water" not in text
    assert lab.client.name not in text
