"""Opinions and interpretations, by people who are authorised for them (ISO/IEC 17025:2017, 7.8.7)."""

from datetime import datetime

from labresults.acts import BadInput, Done, WrongState, act, require_task
from labresults.models import Method, Opinion, Person, Sample, Submission
from labresults.terms import Task


@act("state_opinion")
def state_opinion(
    *,
    by: Person,
    at: datetime,
    reason: str,
    submission: Submission,
    text: str,
    basis: str,
    sample: Sample | None = None,
) -> Done[Opinion]:
    """State an opinion on a submission, or on one sample of it; the newest stands, an empty one takes it back.

    basis: what it stands on; it is recorded and printed (7.8.7.2). Raises NotAuthorised unless the person may state
    opinions with every method that was asked for, BadInput without a basis, WrongState for a sample of another
    submission, or where there is nothing to take back.
    """
    if sample is not None and sample.submission_id != submission.pk:
        raise WrongState(f"{sample} is not of {submission}. Choose one of its samples, or all of them.")
    request = submission.requests.latest("version")
    for method in Method.objects.filter(pk__in=request.methods.values("method")):
        require_task(by, Task.OPINE, method, at.date())
    text, basis = text.strip(), basis.strip()
    if text and not basis:
        raise BadInput("Say what the opinion stands on: the results, a standard, experience. It is printed with it.")
    before = Opinion.objects.filter(submission=submission, sample=sample).order_by("pk").last()
    if not text and (before is None or not before.text):
        raise WrongState("There is no opinion to take back. Write one.")
    row = Opinion.objects.create(submission=submission, sample=sample, text=text, basis=basis, made_by=by, made_at=at)
    return Done(
        row,
        subject=("opinion", sample.number if sample else submission.number),
        before={"text": before.text, "basis": before.basis} if before else None,
        after={"text": text, "basis": basis},
    )
