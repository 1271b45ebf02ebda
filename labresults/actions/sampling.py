"""How samples were taken, where the laboratory took them itself (ISO/IEC 17025:2017, 7.8.5)."""

from datetime import datetime

from labresults.acts import BadInput, Done, WrongState, act
from labresults.models import Person, Sample, SamplingRecord, Submission
from labresults.queries.issued import certificates_carrying


@act("record_sampling")
def record_sampling(
    *,
    by: Person,
    at: datetime,
    reason: str,
    submission: Submission,
    sampled_by: str,
    place: str,
    plan: str,
    sample: Sample | None = None,
    conditions: str = "",
    uncertainty: str = "",
) -> Done[SamplingRecord]:
    """Record who of the laboratory took the samples, where and by which plan; the newest record stands.

    sample: None is every sample of the submission without a record of its own. conditions: at the place, that bear on
    the results; uncertainty: what is needed to estimate that of sampling. Raises BadInput where who, where or how is
    missing, WrongState when the sample is of another submission or stands on a certificate in force.
    """
    said = {"who sampled": sampled_by, "the place": place, "the plan and method": plan}
    missing = [name for name, words in said.items() if not words.strip()]
    if missing:
        raise BadInput(f"Give {' and '.join(missing)}: each is printed on the certificate.")
    _require_open(submission, sample)
    row = SamplingRecord.objects.create(
        submission=submission, sample=sample, sampled_by=sampled_by.strip(), place=place.strip(), plan=plan.strip(),
        conditions=conditions.strip(), uncertainty=uncertainty.strip(), made_by=by, made_at=at,
    )  # fmt: skip
    of = sample.number if sample else submission.number
    after = {"by": row.sampled_by, "place": row.place, "plan": row.plan, "conditions": row.conditions}
    return Done(row, subject=("sampling", of), after={**after, "uncertainty": row.uncertainty})


def _require_open(submission: Submission, sample: Sample | None) -> None:
    if sample is not None and sample.submission_id != submission.pk:
        raise WrongState(f"{sample} is not of {submission}. Choose one of its samples, or all of them.")
    one = sample or submission.samples.filter(struck_at=None).order_by("ordinal").first()
    carrying = certificates_carrying(one) if one else []
    if carrying:
        raise WrongState(f"{one} stands on {', '.join(carrying)}. Withdraw it, record the sampling, then issue anew.")
