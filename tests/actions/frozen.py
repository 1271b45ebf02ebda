"""Certificates for tests of what comes after: with what they froze at hand."""

from collections.abc import Callable
from datetime import datetime

from labresults.models import Submission
from reports.document import CertificateDocument
from reports.models import Certificate
from tests.builders import Laboratory, a_submission, an_evaluated_run, approved


def measured(lab: Laboratory, names: list[str], **more: object) -> Submission:
    submission = a_submission(lab, names=names, **more)  # type: ignore[arg-type]
    an_evaluated_run(lab, submission)
    return approved(lab, submission)


def document_of(certificate: Certificate) -> CertificateDocument:
    return CertificateDocument.from_json(certificate.document)


def now_of(lab: Laboratory) -> Callable[[], datetime]:
    return lambda: lab.later(0)
