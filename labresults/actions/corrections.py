"""Corrections of what was logged: a sample added, struck, moved, its identification corrected; never a result.

Each leaves a row that says what stood before, and why. What a certificate in force carries is not corrected here: the
certificate is withdrawn in the open first, and amended afterwards (ISO/IEC 17025:2017, 7.8.8).
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.db.models import Max, Q

from labresults.actions.asking import (
    AcceptedConcern,
    accept_concerns,
    carry_concerns,
    concerns_said,
    enter_concerns,
    enter_request,
)
from labresults.actions.delivery import with_rows
from labresults.actions.entering import enter_samples
from labresults.acts import BadInput, Done, WrongState, act
from labresults.models import Method, Person, Request, RequestConcern, Sample, SampleCorrection, Submission
from labresults.queries.delivery import problems_of
from labresults.queries.due import due_on as due_for
from labresults.queries.issued import certificates_carrying, is_certified
from labresults.queries.people import site_time_zone
from labresults.queries.request_review import review
from labresults.queries.samples import asked_of_sample, prepared_of
from labresults.queries.wanted import Terms, wanted_of
from labresults.readers.delivery import DeliveredSample, identification_trouble, looks
from labresults.terms import Correction


@act("add_sample")
def add_sample(
    *,
    by: Person,
    at: datetime,
    reason: str,
    submission: Submission,
    row: DeliveredSample,
    place: str = "reception",
    concerns: Sequence[AcceptedConcern] = (),
) -> Done[Sample]:
    """Log a sample that came later than its submission: number, container and first holder, at its end.

    It is asked what the submission asks of all unless `row` says otherwise; then the request gets a new version. Raises
    BadInput without a reason, with every problem of the row, and for a concern that nobody accepted.
    """
    if not reason.strip():
        raise BadInput("Give the reason why it is added later: it stays on the record.")
    _refuse_row(row, submission, at)
    asked = wanted_of(submission.requests.select_related("limit_set").latest("version"))
    if not asked.methods and not row.methods:
        raise BadInput(f"{submission} asks nothing of all its samples. Say which methods are asked of this one.")
    accepted = accept_concerns(review([row], methods=asked.methods, at=at), concerns)
    entered = enter_samples(submission, [row], by=by, at=at, place=place, since=at, first=_next_ordinal(submission))
    sample = Sample.objects.select_related("submission__client", "matrix").get(pk=entered[0].pk)
    own = with_rows(replace(asked, of_samples={}, terms={}), entered, at, at)
    methods = own.of_samples.get(sample.pk, asked.methods)
    request = _ask_of(sample, methods, own.terms.get(sample.pk, Terms(asked.basis, asked.limit_set)), by, at, reason)
    standing = request or submission.requests.latest("version")
    enter_concerns(standing, accepted, {row.row: sample.pk}, by=by, at=at)
    _note(sample, Correction.ADDED, "", sample.client_identification, reason, by, at)
    return Done(
        sample,
        subject=("sample", sample.number),
        before={"submission": submission.number, "samples": submission.samples.count() - 1},
        after={
            "client's own identification": sample.client_identification,
            "matrix": sample.matrix.name,
            "asked of it": sorted(method.code for method in asked_of_sample(sample).methods),
            "new version of the request": request.version if request else None,
            "concerns": concerns_said(accepted),
        },
    )


@act("strike_sample")
def strike_sample(*, by: Person, at: datetime, reason: str, sample: Sample) -> Done[Sample]:
    """Strike a sample from its submission: nothing more is done with it, and its number is never used again.

    What was prepared of it stays on the record. Raises BadInput without a reason, WrongState when it was struck before
    or a certificate in force carries it.
    """
    sample = _correctable(sample, reason, "strike it")
    prepared = prepared_of(sample)
    sample.struck_at = at
    sample.save(update_fields=["struck_at"])
    _note(sample, Correction.STRUCK, sample.client_identification, "", reason, by, at)
    return Done(
        sample,
        subject=("sample", sample.number),
        before={"submission": sample.submission.number, "client's own identification": sample.client_identification},
        after={"struck": True, "prepared of it": prepared},
    )


@act("correct_identification")
def correct_identification(
    *, by: Person, at: datetime, reason: str, sample: Sample, to: str, seen: str | None = None
) -> Done[Sample]:
    """Correct the client's own identification, kept to the letter as given.

    seen: what the person saw it to be; the act refuses when somebody corrected it in between. Raises BadInput without a
    reason or when the new one cannot stand, WrongState when a certificate in force carries the sample.
    """
    sample = _correctable(sample, reason, "correct it")
    before = sample.client_identification
    if seen is not None and seen != before:
        raise WrongState(f"Somebody has corrected {sample} in between: it is “{before}” now. Look again.")
    if to == before:
        raise BadInput(f"{sample} is “{before}” already.")
    _refuse_identification(to, sample.submission, sample)
    sample.client_identification = to
    sample.save(update_fields=["client_identification"])
    _note(sample, Correction.IDENTIFICATION, before, to, reason, by, at)
    return Done(
        sample,
        subject=("sample", sample.number),
        before={"client's own identification": before},
        after={"client's own identification": to},
    )


@act("move_sample")
def move_sample(
    *, by: Person, at: datetime, reason: str, sample: Sample, to: Submission, seen: str | None = None
) -> Done[Sample]:
    """Move a sample to another submission of the same client; what is asked of it, and on what terms, goes along.

    seen: number of the submission in which the person saw it. Raises BadInput without a reason, for another client's
    submission or one that has its identification; WrongState when a certificate in force carries the sample.
    """
    sample = _correctable(sample, reason, "move it")
    source = sample.submission
    if seen is not None and seen != source.number:
        raise WrongState(f"Somebody has moved {sample} in between: it is in {source} now. Look again.")
    _refuse_target(sample, to)
    asked = asked_of_sample(sample)
    accepted = RequestConcern.objects.filter(Q(sample=sample) | Q(sample=None, method__in=asked.methods))
    sample.submission = to
    sample.ordinal = _next_ordinal(to)
    sample.save(update_fields=["submission", "ordinal"])
    request = _ask_of(sample, asked.methods, Terms(asked.basis, asked.limit_set), by, at, reason)
    carry_concerns(accepted.filter(request=asked.request), request or to.requests.latest("version"), sample)
    _note(sample, Correction.MOVED, source.number, to.number, reason, by, at)
    return Done(
        sample,
        subject=("sample", sample.number),
        before={"submission": source.number},
        after={
            "submission": to.number,
            "asked of it": sorted(method.code for method in asked_of_sample(sample).methods),
            "new version of the request": request.version if request else None,
        },
    )


def _correctable(sample: Sample, reason: str, what: str) -> Sample:
    """The sample as it is under the lock. Refuses without a reason, when it was struck, or is on a certificate."""
    if not reason.strip():
        raise BadInput(f"Give the reason to {what}: it stays on the record.")
    now = Sample.objects.select_related("submission__client", "matrix").get(pk=sample.pk)
    if now.struck_at:
        earlier = now.corrections.filter(what=Correction.STRUCK).select_related("made_by").latest("pk")
        raise WrongState(f"{now} was struck by {earlier.made_by} already: {earlier.reason}")
    carried = certificates_carrying(now)
    if carried:
        raise WrongState(
            f"{now} is on certificate {' and '.join(carried)}: what went out is not changed here. Amend the certificate"
            " instead: withdraw that issue, correct the sample, and issue the amendment."
        )
    return now


def _refuse_row(row: DeliveredSample, submission: Submission, at: datetime) -> None:
    """Refuse a row with a problem; there is only one row, so that its number is left out."""
    problems = tuple(replace(problem, row=None) for problem in problems_of([row], at))
    if problems:
        raise BadInput(f"{len(problems)} to correct; nothing was added.", problems)
    _refuse_identification(row.client_identification, submission)


def _refuse_identification(to: str, submission: Submission, sample: Sample | None = None) -> None:
    """Refuse an identification that cannot stand, or that another sample of the submission has."""
    trouble = identification_trouble(to)
    if trouble:
        raise BadInput(f"Client’s own identification: {' '.join(trouble)}")
    others = submission.samples.filter(struck_at=None).exclude(pk=sample.pk if sample else None)
    for number, identification in others.values_list("number", "client_identification"):
        if looks(identification) == looks(to):
            raise BadInput(
                f"{number} of {submission} is “{identification}” already. It must be alone in one submission."
            )


def _refuse_target(sample: Sample, to: Submission) -> None:
    if to.pk == sample.submission_id:
        raise BadInput(f"{sample} is in {to} already.")
    if to.client_id != sample.submission.client_id:
        raise BadInput(
            f"{to} is of another client. A sample is not moved between clients: strike it here, and log it again there."
        )
    _refuse_identification(sample.client_identification, to)


def _next_ordinal(submission: Submission) -> int:
    """The place after the last sample that the submission ever had."""
    last: int | None = submission.samples.aggregate(last=Max("ordinal"))["last"]
    return (last or 0) + 1


def _ask_of(
    sample: Sample, methods: Sequence[Method], terms: Terms, by: Person, at: datetime, reason: str
) -> Request | None:
    """A new version of the request, where the sample is asked something else than all, or all was certified already.

    None where the version that stands says it. After a certificate the new one puts the submission on the path again.
    """
    submission = sample.submission
    old = submission.requests.select_related("limit_set").latest("version")
    asked = wanted_of(old)
    as_all = {method.pk for method in methods} == {method.pk for method in asked.methods}
    on_same_terms = terms == Terms(asked.basis, asked.limit_set)
    certified = is_certified(submission)
    if as_all and on_same_terms and not certified:
        return None
    wanted = replace(
        asked,
        due_on=due_for(methods, _day(at), _day(at)) if certified else asked.due_on,
        of_samples={**asked.of_samples, **({} if as_all else {sample.pk: methods})},
        terms={**asked.terms, **({} if on_same_terms else {sample.pk: terms})},
    )
    request = enter_request(submission, wanted, version=old.version + 1, by=by, at=at, reason=reason)
    carry_concerns(old.concerns.filter(Q(sample=None) | Q(sample__submission=submission)), request)
    return request


def _day(at: datetime) -> date:
    """The day in the laboratory's zone."""
    return at.astimezone(ZoneInfo(site_time_zone())).date()


def _note(sample: Sample, what: Correction, before: str, after: str, reason: str, by: Person, at: datetime) -> None:
    SampleCorrection.objects.create(
        sample=sample, what=what, before=before, after=after, reason=reason, made_by=by, made_at=at
    )
