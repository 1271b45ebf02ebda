"""Results, selections and reviews, read. Each function says how many database queries it makes."""

from collections.abc import Collection, Iterable
from typing import TypedDict

from django.db.models import Max

from labresults.calculation.selection import Candidate
from labresults.models import ControlOutcome, Evaluation, Result, ReviewedResult, Selection, Submission
from labresults.terms import Mark, Verdict


def is_valid(result: Result) -> bool:
    """Whether a result has a value and no failed control sample stands against it; no query."""
    return result.value is not None and Mark.CONTROL_FAILED not in result.marks


def as_candidate(result: Result) -> Candidate:
    """A result as the rule of selection sees it; no query. The result belongs to a sample."""
    if result.sample_id is None:
        raise ValueError("Only a sample's result can be selected.")
    return Candidate(
        key=result.pk,
        sample=result.sample_id,
        element=result.element_id,
        rank=result.rank,
        has_value=result.value is not None,
        holds=Mark.CONTROL_FAILED not in result.marks,
    )


def candidates_of(evaluation: Evaluation) -> list[Candidate]:
    """Results of samples in an evaluation, as the rule of selection sees them; one query."""
    rows = Result.objects.filter(evaluation=evaluation, is_candidate=True).order_by("pk")
    return [as_candidate(row) for row in rows]


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


def failures_of(results: Collection[Result]) -> dict[int, Standing]:
    """Failed control samples that touch each of these results, by the result's key; one query."""
    evaluations = {result.evaluation_id for result in results}
    failed = (
        ControlOutcome.objects.filter(evaluation__in=evaluations, verdict=Verdict.OUTSIDE)
        .select_related("position", "line", "criterion", "acceptance__made_by")
        .order_by("pk")
    )
    by_place: dict[tuple[int, int, int], list[ControlOutcome]] = {}
    for outcome in failed:
        for number in outcome.touches:
            by_place.setdefault((outcome.evaluation_id, outcome.line_id, number), []).append(outcome)
    found: dict[int, Standing] = {}
    for result in results:
        touching = by_place.get((result.evaluation_id, result.line_id, result.position.number), [])
        found[result.pk] = {
            "open": [o for o in touching if not hasattr(o, "acceptance")],
            "accepted": [o for o in touching if hasattr(o, "acceptance")],
        }
    return found


def waiting_for_review(submission: Submission) -> list[int]:
    """Keys of the selected results of a submission that nobody has decided about; four queries."""
    selections = newest_selections(sample_ids=list(submission.samples.values_list("pk", flat=True)))
    chosen = sorted(selection.result_id for selection in selections.values())
    decided = newest_decisions(chosen)
    return [pk for pk in chosen if pk not in decided]
