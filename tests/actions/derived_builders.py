"""Submissions that ask for derived results, measured and approved; sets of their samples; what is printed of them."""

from typing import Any

from labresults.actions.derived import define_sample_set
from labresults.models import DerivedDefinition, SampleSet, Submission
from reports.document import CertificateDocument
from reports.queries.previews import preview
from tests.builders import Laboratory, a_submission, an_evaluated_run, approved


def document_of(certificate: Any) -> CertificateDocument:
    """What was frozen."""
    return CertificateDocument.from_json(certificate.document)


def a_set(lab: Laboratory, submission: Submission, masses: dict[int, float], name: str = "intercept") -> SampleSet:
    """Samples by their place in the submission, with what each stands for, kg."""
    samples = {sample.ordinal: sample for sample in submission.samples.all()}
    members = [(samples[ordinal], mass_kg) for ordinal, mass_kg in masses.items()]
    return define_sample_set(
        by=lab.people["reception"], at=lab.later(), submission=submission, name=name, members=members
    )


def measured(lab: Laboratory, *asked: DerivedDefinition, **differing: Any) -> Submission:
    """Three samples that ask for these, measured and approved."""
    submission = a_submission(lab, derived=asked)
    an_evaluated_run(lab, submission, **differing)
    return approved(lab, submission)


def previewed(lab: Laboratory, submission: Submission, **more: Any) -> tuple[CertificateDocument, Any]:
    """What would be printed now, and what it was found from."""
    return preview(submission=submission, rule_set=lab.rule_set, by=lab.people["issuer"], at=lab.later(), **more)
