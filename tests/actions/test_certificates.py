"""Certificates: frozen, drawn once, amended and withdrawn in the open."""

from io import BytesIO

import openpyxl
import pytest
from django.core.management import call_command
from pypdf import PdfReader

from labresults.actions.batches import begin_batch
from labresults.actions.delivery import receive_samples
from labresults.actions.evaluation import accept_control, evaluate_run
from labresults.actions.limits import register_limits
from labresults.actions.runs import plan_run
from labresults.actions.samples import register_client, state_not_measured
from labresults.actions.weighings import Weighed, record_weighings
from labresults.acts import BadInput, NotAuthorised, WrongState
from labresults.models import AuditEvent
from labresults.readers.delivery import DeliveredSample
from labresults.terms import Basis, NotMeasured
from reports.actions import certificates as acts
from reports.document import CertificateDocument
from reports.models import Certificate
from reports.queries.files import content_of
from tests.builders import (
    Laboratory,
    a_certificate,
    a_reading_file,
    a_run,
    a_submission,
    a_weighed_batch,
    an_evaluated_run,
    an_imported_file,
    approved,
)


def a_ready_submission(lab: Laboratory, **differing: object) -> object:
    submission = a_submission(lab)
    an_evaluated_run(lab, submission, **differing)
    return approved(lab, submission)


def document_of(certificate: Certificate) -> CertificateDocument:
    return CertificateDocument.from_json(certificate.document)


def test_the_document_and_the_chains_head_are_frozen(lab: Laboratory) -> None:
    submission = a_ready_submission(lab)
    head = AuditEvent.objects.latest("seq").sha256
    certificate = a_certificate(lab, submission, draw=False)
    document = document_of(certificate)
    assert document.number == certificate.number == "C26-0001"
    assert document.chain_head == head
    assert document.to_json() == certificate.document
    assert "The results relate only to the items tested." in document.statements
    assert [s.name for s in document.signatures] == ["Reviewer Person", "Issuer Person"]


def test_pdf_and_spreadsheet_show_the_same_figures(lab: Laboratory) -> None:
    low = {"KF26-00001": {"Cu": 0.4, "Pb": 3.2}, "KF26-00002": {"Cu": 99.96, "Pb": 250.4}}
    certificate = a_certificate(lab, a_ready_submission(lab, contents=low))
    printed = {(row.number, cell.column): cell.printed for row in document_of(certificate).rows for cell in row.cells}
    assert printed["KF26-00001", "AR-7 Cu"] == "<1"
    assert printed["KF26-00001", "AR-7 Pb"] == "3"
    assert printed["KF26-00002", "AR-7 Cu"] == "100"

    pdf = PdfReader(BytesIO(content_of(certificate.files.get(kind="pdf"))))
    words = " ".join(page.extract_text() for page in pdf.pages)
    assert all(text in words for text in ("C26-0001", "KF26-00001", "NRD014 112.0 m", "<1"))
    sheet = openpyxl.load_workbook(BytesIO(content_of(certificate.files.get(kind="xlsx")))).worksheets[0]
    cells = [cell.value for row in sheet.iter_rows() for cell in row]
    assert "<1" in cells
    assert 100 in cells


def test_nothing_unapproved_is_certified_unless_as_preliminary(lab: Laboratory) -> None:
    submission = a_submission(lab)
    an_evaluated_run(lab, submission)
    with pytest.raises(WrongState, match="Not ready: Cu by AR-7 in KF26-00001 is not approved"):
        a_certificate(lab, submission)
    assert not Certificate.objects.exists()


def test_a_result_in_words_counts_as_delivered_work(lab: Laboratory) -> None:
    submission = a_submission(lab, 4)
    last = submission.samples.latest("ordinal")
    state_not_measured(
        by=lab.people["preparer"], at=lab.later(), reason="bag empty", sample=last, method=lab.method,
        word=NotMeasured.INSUFFICIENT,
    )  # fmt: skip
    three = submission.samples.exclude(pk=last.pk)
    batch = begin_batch(
        by=lab.people["preparer"], at=lab.later(), method_version=lab.version, samples=list(three), caution_read=True
    )
    rows = [Weighed(p.label, 0.5, 50.0) for p in batch.portions.all()]
    record_weighings(by=lab.people["preparer"], at=lab.later(), batch=batch, rows=rows)
    run = a_run(lab, batch)
    an_imported_file(lab, run)
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    document = document_of(a_certificate(lab, approved(lab, submission)))
    assert [cell.printed for cell in document.rows[3].cells] == ["insufficient sample"] * 2


def test_the_same_certificate_is_issued_once(lab: Laboratory) -> None:
    submission = a_ready_submission(lab)
    a_certificate(lab, submission, draw=False)
    with pytest.raises(WrongState, match="has C26-0001, issue 1 already"):
        a_certificate(lab, submission)


def test_the_files_are_drawn_once(lab: Laboratory) -> None:
    certificate = a_certificate(lab, a_ready_submission(lab))
    with pytest.raises(WrongState, match="published already"):
        acts.publish_certificate(by=lab.people["issuer"], at=lab.later(), certificate=certificate)


def test_an_amendment_names_what_it_replaces_and_what_changed(lab: Laboratory) -> None:
    submission = a_submission(lab)
    evaluation = an_evaluated_run(lab, submission)
    first = a_certificate(lab, approved(lab, submission))
    evaluate_run(
        by=lab.people["analyst"], at=lab.later(), reason="standard 3 was old", run=evaluation.run,
        left_out=[(4, "Pb 220.353")],
    )  # fmt: skip
    approved(lab, submission)
    given = {"by": lab.people["issuer"], "certificate": first, "rule_set": lab.rule_set}
    with pytest.raises(BadInput, match="says why"):
        acts.amend_certificate(at=lab.later(), **given)

    second = acts.amend_certificate(at=lab.later(), reason="A standard had expired.", **given)

    document = document_of(second)
    assert (second.number, second.issue, second.replaces) == (first.number, 2, first)
    assert document.replaces.startswith("C26-0001, issue 1")
    assert document.replaces_why == "A standard had expired."
    assert document.changes == ()
    assert document_of(first).replaces == ""
    with pytest.raises(WrongState, match="was replaced by"):
        acts.amend_certificate(at=lab.later(), reason="again", **given)


def test_an_accepted_failure_is_explained_beside_the_numbers(lab: Laboratory) -> None:
    submission = a_submission(lab)
    evaluation = an_evaluated_run(lab, submission, factors={("CCV 1", "Pb"): 1.2})
    accept_control(
        by=lab.people["analyst"], at=lab.later(), reason="the pump was repaired",
        outcomes=list(evaluation.outcomes.filter(verdict="outside")),
    )  # fmt: skip
    document = document_of(a_certificate(lab, approved(lab, submission)))
    assert len(document.remarks) == 1
    assert "Accepted by Analyst Person: the pump was repaired." in document.remarks[0].text
    assert all(row.cells[1].mark == "a" for row in document.rows)


def test_another_clients_sample_is_not_named(lab: Laboratory) -> None:
    other = register_client(by=lab.people["reception"], at=lab.later(), code="other", name="Other Client")
    ours, theirs = a_submission(lab, 2), a_submission(lab, 2, client=other)
    samples = [*ours.samples.order_by("ordinal"), *theirs.samples.order_by("ordinal")]
    batch = begin_batch(
        by=lab.people["preparer"], at=lab.later(), method_version=lab.version, samples=samples, caution_read=True
    )
    rows = [Weighed(p.label, 0.5, 50.0) for p in batch.portions.all()]
    record_weighings(by=lab.people["preparer"], at=lab.later(), batch=batch, rows=rows)
    run = a_run(lab, batch)
    an_imported_file(lab, run)
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    certificate = a_certificate(lab, approved(lab, ours))
    assert "another sample of this batch" in certificate.document
    assert all(sample.number not in certificate.document for sample in theirs.samples.all())


def test_a_withdrawn_certificate_says_so_and_stays_readable(lab: Laboratory) -> None:
    certificate = a_certificate(lab, a_ready_submission(lab))
    given = {"by": lab.people["issuer"], "certificate": certificate}
    with pytest.raises(BadInput, match="says why"):
        acts.withdraw_certificate(at=lab.later(), **given)
    acts.withdraw_certificate(at=lab.later(), reason="wrong client", **given)
    assert certificate.withdrawal.reason == "wrong client"
    assert content_of(certificate.files.get(kind="pdf")).startswith(b"%PDF")


def test_only_the_issuer_issues(lab: Laboratory) -> None:
    submission = a_ready_submission(lab)
    with pytest.raises(NotAuthorised):
        acts.issue_certificate(by=lab.people["analyst"], at=lab.later(), submission=submission, rule_set=lab.rule_set)


def test_every_certificate_is_checked_against_its_hash(lab: Laboratory, capsys: pytest.CaptureFixture[str]) -> None:
    a_certificate(lab, a_ready_submission(lab))
    call_command("verify_certificates")
    assert "1 certificates: each as issued." in capsys.readouterr().out


def with_limit(lab: Laboratory, basis: Basis) -> CertificateDocument:
    """The certificate of three samples of 35 mg/kg lead, compared with a limit of 250 mg/kg on this basis."""
    limits = register_limits(
        by=lab.people["quality manager"], at=lab.later(), name="Waste rock", edition="2026", source="the client",
        limits=[("Pb", 250.0, "mg/kg")], basis=basis,
    )  # fmt: skip
    submission = receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, methods=[lab.method], limit_set=limits,
        rows=[DeliveredSample(1, "a", "soil"), DeliveredSample(2, "b", "soil"), DeliveredSample(3, "c", "soil")],
    )  # fmt: skip
    an_evaluated_run(lab, submission, contents={"KF26-00002": {"Cu": 120.0, "Pb": 250.4}})
    return document_of(a_certificate(lab, approved(lab, submission), draw=False))


def test_a_statement_of_conformity_names_its_rule_and_print_never_contradicts_it(lab: Laboratory) -> None:
    document = with_limit(lab, Basis.AS_RECEIVED)
    assert [row.conformity for row in document.rows] == ["conforms", "does not conform, within U", "conforms"]
    # 250.4 would print as 250, which conforms: one more figure is printed.
    assert document.rows[1].cells[1].printed == "250.4"
    assert "Decision rule" in document.conformity_text
    assert "the authority to decide" in document.conformity_text


def test_a_limit_on_another_basis_is_not_compared(lab: Laboratory) -> None:
    document = with_limit(lab, Basis.DRY)
    assert {row.conformity for row in document.rows} == {"cannot be decided"}


def test_nothing_of_another_clients_sample_reaches_a_certificate(lab: Laboratory) -> None:
    # given a batch of two clients whose duplicate, of the other client's sample, failed for lead
    other = register_client(by=lab.people["reception"], at=lab.later(), code="other", name="Other Client")
    ours, theirs = a_submission(lab, 1), a_submission(lab, 1, client=other, names=["their secret"])
    (own,), (foreign,) = ours.samples.all(), theirs.samples.all()
    batch = begin_batch(
        by=lab.people["preparer"], at=lab.later(), method_version=lab.version, samples=[own, foreign], caution_read=True
    )
    rows = [Weighed(p.label, 0.5, 50.0) for p in batch.portions.all()]
    record_weighings(by=lab.people["preparer"], at=lab.later(), batch=batch, rows=rows)
    run = a_run(lab, batch)
    content = {foreign.number: {"Cu": 777.7, "Pb": 666.6}}
    failed = {(f"{foreign.number} D", "Pb"): 1.5}
    an_imported_file(lab, run, a_reading_file(run, contents=content, factors=failed))
    evaluation = evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    accept_control(
        by=lab.people["analyst"], at=lab.later(), reason=f"{foreign.number} is coarse; {own.number} is not",
        outcomes=list(evaluation.outcomes.filter(verdict="outside")),
    )  # fmt: skip

    # when our certificate is frozen
    document = a_certificate(lab, approved(lab, ours), draw=False).document

    # then it says that the duplicate failed and why that was accepted, and nothing of the other client's
    assert "another sample of this batch" in document
    assert f"another sample is coarse; {own.number} is not" in document
    for secret in (foreign.number, "their secret", "777.7", "666.6", "999.9"):
        assert secret not in document


def test_a_control_sample_that_fails_after_the_signature_holds_the_certificate(lab: Laboratory) -> None:
    # given samples measured and approved in a run that did not read their method blank
    submission = a_submission(lab)
    batch = a_weighed_batch(lab, submission)
    given = {"by": lab.people["analyst"], "method_version": lab.version, "instrument": lab.spectrometer}
    samples = list(batch.portions.filter(role="sample"))
    alone = plan_run(at=lab.later(), reason="the control samples are read tonight", portions=samples, **given)
    an_imported_file(lab, alone)
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=alone)
    approved(lab, submission)
    # when the whole batch is read later, and its blank fails for lead
    whole = a_run(lab, batch)
    an_imported_file(lab, whole, a_reading_file(whole, contents={"B26-0001 MB1": {"Pb": 0.2}}))
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=whole)
    # then nothing is certified until somebody looks
    with pytest.raises(WrongState, match="Pb by AR-7 in KF26-00001"):
        a_certificate(lab, submission)
    assert not Certificate.objects.exists()
