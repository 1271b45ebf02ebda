"""Results, selections and reviews, read. Each function says how many database queries it makes."""

from collections.abc import Collection, Iterable, Iterator
from typing import TypedDict

from django.db.models import Exists, Max, OuterRef, QuerySet

from labresults.calculation.selection import Candidate
from labresults.models import ControlOutcome, Evaluation, Position, Result, ReviewedResult, Selection, Submission
from labresults.terms import Reach, Verdict


def as_candidates(results: Collection[Result]) -> list[Candidate]:
    """Samples' results as the rule of selection sees them; the queries of `failures_of`.

    A failed control sample counts until somebody accepts it by name.
    """
    failures = failures_of(results)
    return [
        Candidate(
            key=result.pk,
            sample=result.sample_id,
            element=result.element_id,
            rank=result.rank,
            has_value=result.value is not None,
            holds=not failures[result.pk]["open"],
        )
        for result in results
        if result.sample_id is not None
    ]


def candidates_of(evaluation: Evaluation) -> list[Candidate]:
    """Results of samples in an evaluation, as the rule of selection sees them; five queries."""
    rows = Result.objects.filter(evaluation=evaluation, is_candidate=True).select_related("position", "evaluation")
    return as_candidates(list(rows.order_by("pk")))


def newest_selections(
    *, sample_ids: Collection[int], method_id: int | None = None
) -> dict[tuple[int, int, str], Selection]:
    """The selection that counts, by sample, method and element; two queries."""
    rows = Selection.objects.filter(sample__in=sample_ids)
    if method_id is not None:
        rows = rows.filter(method=method_id)
    newest = rows.order_by().values("sample", "method", "element").annotate(newest=Max("pk")).values("newest")
    found = Selection.objects.filter(pk__in=newest).select_related(
        "result__evaluation__run__method_version__method", "result__position", "result__line"
    )
    return {(row.sample_id, row.method_id, row.element_id): row for row in found}


def newest_decisions(result_ids: Iterable[int]) -> dict[int, ReviewedResult]:
    """The newest review of each result, by the result's key; one query."""
    rows = ReviewedResult.objects.filter(result__in=list(result_ids)).select_related("review__made_by").order_by("pk")
    return {row.result_id: row for row in rows}


class Standing(TypedDict):
    """Failed control samples that touch a result, apart by whether somebody accepted them."""

    open: list[ControlOutcome]
    accepted: list[ControlOutcome]


def failures_of(
    results: Collection[Result], *, outcomes: Collection[ControlOutcome] | None = None
) -> dict[int, Standing]:
    """Failed control samples that speak against each of these results, by the result's key; two to four queries.

    outcomes: those of the results' own evaluations, where the caller has them already.

    Those of its own evaluation that touch it, and those of its preparation batch that failed when another run read
    them: reading the solution again does not mend a batch, unless its control sample was read again too and held.
    """
    found: dict[int, Standing] = {result.pk: {"open": [], "accepted": []} for result in results}
    for result, outcome in [*_own_failures(results, outcomes), *_batch_failures(results, outcomes)]:
        found[result.pk]["accepted" if hasattr(outcome, "acceptance") else "open"].append(outcome)
    return found


_WITH_FAILURES = ("position__portion__subsample__sample", "line", "criterion", "acceptance__made_by")


def _failed() -> QuerySet[ControlOutcome]:
    return ControlOutcome.objects.filter(verdict=Verdict.OUTSIDE).select_related(*_WITH_FAILURES).order_by("pk")


def _own_failures(
    results: Collection[Result], outcomes: Collection[ControlOutcome] | None
) -> Iterator[tuple[Result, ControlOutcome]]:
    """Failures of a result's own evaluation that touch its position at its line; one query, or none."""
    by_place: dict[tuple[int, int, int], list[ControlOutcome]] = {}
    if outcomes is None:
        outcomes = list(_failed().filter(evaluation__in={result.evaluation_id for result in results}))
    for outcome in (one for one in outcomes if one.verdict == Verdict.OUTSIDE):
        for number in outcome.touches:
            by_place.setdefault((outcome.evaluation_id, outcome.line_id, number), []).append(outcome)
    for result in results:
        for outcome in by_place.get((result.evaluation_id, result.line_id, result.position.number), []):
            yield result, outcome


def _batch_failures(
    results: Collection[Result], outcomes: Collection[ControlOutcome] | None
) -> Iterator[tuple[Result, ControlOutcome]]:
    """Failures of a result's batch in other runs, unless its own run read that control sample too; 1 to 3 queries."""
    portions = {result.position.portion_id for result in results if result.position.portion_id}
    evaluations = {result.evaluation_id for result in results}
    failed = _failed_in_batches(portions, {result.element_id for result in results})
    if not failed or {outcome.evaluation_id for outcome in failed} == evaluations:
        return  # none, or all of them the results' own
    places = {
        (run, number): portion
        for run, number, portion in Position.objects.filter(portion__in=portions).values_list(
            "run", "number", "portion"
        )
    }
    by_portion: dict[tuple[int, str], list[ControlOutcome]] = {}
    for outcome in failed:
        for number in outcome.touches:
            portion = places.get((outcome.evaluation.run_id, number))
            if portion is not None:
                by_portion.setdefault((portion, outcome.line.element_id), []).append(outcome)
    if outcomes is None:
        outcomes = ControlOutcome.objects.filter(evaluation__in=evaluations).select_related("position", "line")
    own = {
        (outcome.evaluation_id, outcome.position.portion_id, outcome.line.element_id)
        for outcome in outcomes
        if outcome.verdict != Verdict.NOT_JUDGED
    }
    for result in results:
        for outcome in by_portion.get((result.position.portion_id or 0, result.element_id), []):
            read_again = (result.evaluation_id, outcome.position.portion_id, result.element_id) in own
            if outcome.evaluation_id != result.evaluation_id and not read_again:
                yield result, outcome


def _failed_in_batches(portions: Collection[int], elements: Collection[str]) -> list[ControlOutcome]:
    """Failed controls of batches in the newest evaluations of all runs that read these portions; one query."""
    newer = Evaluation.objects.filter(run=OuterRef("evaluation__run"), version__gt=OuterRef("evaluation__version"))
    runs = Position.objects.filter(portion__in=portions).values("run")
    rows = _failed().filter(~Exists(newer), reach=Reach.BATCH, evaluation__run__in=runs, line__element__in=elements)
    return list(rows.select_related("evaluation", *_WITH_FAILURES))


def waiting_for_review(submission: Submission) -> list[int]:
    """Keys of the selected results of a submission that nobody has decided about; four queries."""
    selections = newest_selections(
        sample_ids=list(submission.samples.filter(struck_at=None).values_list("pk", flat=True))
    )
    chosen = sorted(selection.result_id for selection in selections.values())
    decided = newest_decisions(chosen)
    return [pk for pk in chosen if pk not in decided]
