"""Review: a second person approves, refuses or sends back. Never their own work, unless a named policy says so."""

from collections.abc import Collection, Sequence
from datetime import datetime

from labresults.acts import BadInput, Done, NotAuthorised, WrongState, act, require_task
from labresults.models import Laboratory, Person, ReadingFile, Result, Review, ReviewedResult, Weighing
from labresults.queries.results import failures_of, newest_decisions, newest_selections
from labresults.terms import Decision, Mark, Task

Signed = Sequence[int]


@act("approve_results")
def approve_results(
    *, by: Person, at: datetime, reason: str, results: Signed, password: str, meaning: str = "Reviewed and approved"
) -> Done[Review]:
    """Approve results by their keys, signed with the password entered again (21 CFR 11.200(a)(1)).

    Raises NotAuthorised for a wrong password, for own work, or a method that the person may not review; WrongState for
    a result that is not selected, is approved already, or that an unaccepted failed control sample touches.
    """
    rows = _load(results)
    _sign(by, password)
    exception = _refuse_own_work(by, rows, reason)
    _refuse_unfit(rows, at, by)
    review = _write(Decision.APPROVE, meaning, rows, by, at, reason, exception)
    return Done(review, subject=_subject(rows), after=_said(review, rows))


@act("refuse_results")
def refuse_results(*, by: Person, at: datetime, reason: str, results: Signed, password: str) -> Done[Review]:
    """Refuse results: they cannot be reported. Raises BadInput without a reason, NotAuthorised for a wrong password."""
    return _turn_down(Decision.REFUSE, "Refused", by, at, reason, results, password)


@act("send_back_results")
def send_back_results(*, by: Person, at: datetime, reason: str, results: Signed, password: str) -> Done[Review]:
    """Send results back to be measured or evaluated again. Raises BadInput without a reason."""
    return _turn_down(Decision.SEND_BACK, "Sent back", by, at, reason, results, password)


def _turn_down(
    decision: Decision, meaning: str, by: Person, at: datetime, reason: str, results: Signed, password: str
) -> Done[Review]:
    if not reason:
        raise BadInput("A refusal needs a reason that the analyst can read.")
    rows = _load(results)
    _sign(by, password)
    for method in {row.evaluation.run.method_version.method for row in rows}:
        require_task(by, Task.REVIEW, method, at.date())
    review = _write(decision, meaning, rows, by, at, reason, "")
    return Done(review, subject=_subject(rows), after=_said(review, rows))


def _load(results: Signed) -> list[Result]:
    rows = list(
        Result.objects.filter(pk__in=results)
        .select_related("evaluation__run__method_version__method", "position__portion__batch", "sample__submission")
        .order_by("pk")
    )
    if not rows or len(rows) != len(set(results)):
        raise BadInput("Say which results: some of these are not there.")
    if any(not row.is_candidate for row in rows):
        raise BadInput("A control sample's result is judged, not approved.")
    return rows


def _sign(by: Person, password: str) -> None:
    if not by.check_password(password):
        raise NotAuthorised("The password is not right; nothing was signed.")


def _refuse_own_work(by: Person, rows: Collection[Result], reason: str) -> str:
    """Judged for each result: who weighed, prepared, planned, loaded or evaluated it may not approve it."""
    own = _own_work(by, rows)
    if not own:
        return ""
    policy = Laboratory.objects.values_list("separation_exception", flat=True).get(pk=1)
    if policy and reason:
        return str(policy)
    hint = " Its exception policy asks for a reason." if policy else ""
    raise NotAuthorised(f"{by} took part in {', '.join(sorted(own))}: somebody else must approve.{hint}")


def _own_work(by: Person, rows: Collection[Result]) -> set[str]:
    runs = {row.evaluation.run for row in rows}
    portions = [row.position.portion_id for row in rows]
    own = {f"planning {run}" for run in runs if run.made_by_id == by.pk}
    own |= {f"evaluating {row.evaluation.run}" for row in rows if row.evaluation.made_by_id == by.pk}
    own |= {f"batch {r.position.portion.batch}" for r in rows if r.position.portion.batch.made_by_id == by.pk}
    own |= {f"loading {f.name}" for f in ReadingFile.objects.filter(run__in=runs, made_by=by)}
    own |= {
        f"weighing {w.portion}"
        for w in Weighing.objects.filter(portion__in=portions, made_by=by).select_related("portion")[:3]
    }
    return own


def _refuse_unfit(rows: Sequence[Result], at: datetime, by: Person) -> None:
    for method in {row.evaluation.run.method_version.method for row in rows}:
        require_task(by, Task.REVIEW, method, at.date())
    selected = {s.result_id for s in newest_selections(sample_ids={row.sample_id for row in rows}).values()}
    decided = newest_decisions([row.pk for row in rows])
    failures = failures_of(rows)
    for row in rows:
        name = f"{row.element_id} in {row.sample}"
        if row.pk not in selected:
            raise WrongState(f"{name}: this result is not the one that stands. Look at the newest evaluation.")
        if row.pk in decided and decided[row.pk].review.decision == Decision.APPROVE:
            raise WrongState(f"{name} was approved by {decided[row.pk].review.made_by} already.")
        if row.value is None and Mark.OVER_RANGE not in row.marks:
            raise WrongState(f"{name} has no value: {row.why_no_value} Measure again, or give a result in words.")
        if failures[row.pk]["open"]:
            raise WrongState(f"{name}: {failures[row.pk]['open'][0].why} Measure again, or accept it by name first.")


def _write(
    decision: Decision, meaning: str, rows: Sequence[Result], by: Person, at: datetime, reason: str, exception: str
) -> Review:
    review = Review.objects.create(
        decision=decision, meaning=meaning, reason=reason, exception=exception, made_by=by, made_at=at
    )
    ReviewedResult.objects.bulk_create(ReviewedResult(review=review, result=row) for row in rows)
    return review


def _subject(rows: Sequence[Result]) -> tuple[str, str]:
    return ("submission", rows[0].sample.submission.number if rows[0].sample else "")


def _said(review: Review, rows: Sequence[Result]) -> dict[str, object]:
    return {
        "decision": review.decision,
        "meaning": review.meaning,
        "exception": review.exception,
        "results": [[row.pk, row.sample.number if row.sample else "", row.element_id] for row in rows],
    }
