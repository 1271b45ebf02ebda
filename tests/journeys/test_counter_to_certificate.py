"""From the counter to the certificate and back, through the acts alone: the story in one file."""

import pytest
from django.db.models import Q

from labresults.actions.evaluation import compute_again, outputs_digest
from labresults.models import AuditEvent, Result, Selection
from labresults.queries.history import broken_link
from labresults.queries.trace import asked, trace
from reports.document import CertificateDocument
from tests.builders import (
    CONTENT,
    Laboratory,
    a_certificate,
    a_submission,
    an_evaluated_run,
    approved,
)


def test_a_delivery_becomes_a_certificate_and_a_number_is_followed_back(lab: Laboratory) -> None:
    submission = a_submission(lab, 3)
    evaluation = an_evaluated_run(lab, submission)
    assert not evaluation.outcomes.filter(verdict="outside").exists()

    certificate = a_certificate(lab, approved(lab, submission))

    document = CertificateDocument.from_json(certificate.document)
    assert [row.number for row in document.rows] == [s.number for s in submission.samples.order_by("ordinal")]
    assert [cell.printed for cell in document.rows[0].cells] == ["120", "35"]
    assert {file.kind for file in certificate.files.all()} == {"pdf", "xlsx", "csv", "long", "json"}

    printed = document.rows[0].cells[0]
    assert printed.result is not None
    found = trace(asked(Q(pk=printed.result)))
    assert found.same
    assert found.result.value == pytest.approx(CONTENT["Cu"], rel=1e-9)
    assert found.file.sha256 == evaluation.run.files.get().sha256
    assert {lot.number for lot in found.lots} >= {"L-2200", "L-2203"}
    assert found.weighing is not None
    assert found.weighing.balance == lab.balance
    assert broken_link() is None


def test_an_evaluation_done_again_gives_the_same_bits(lab: Laboratory) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab))
    again = compute_again(evaluation)
    assert outputs_digest(again.evaluated) == evaluation.outputs_sha256


def test_every_result_of_a_sample_is_selected_by_the_rule(lab: Laboratory) -> None:
    submission = a_submission(lab, 2)
    an_evaluated_run(lab, submission)
    assert Selection.objects.count() == 4
    assert Result.objects.filter(is_candidate=True).count() == 4
    assert AuditEvent.objects.filter(act="evaluate_run").count() == 1
