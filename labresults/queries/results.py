"""Results, selections and reviews, read. Each function says how many database queries it makes."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple, TypedDict

import numpy as np
from django.db.models import Exists, OuterRef, QuerySet

from labresults.calculation.selection import Candidate, Candidates
from labresults.models import ControlOutcome, Evaluation, Position, Result, ReviewedResult, Selection, Submission
from labresults.terms import OF_POSITIONS, Decision, Reach, Verdict


class _Place(NamedTuple):
    """What is asked of a position."""

    number: int
    portion_id: int | None


class _Row(NamedTuple):
    """What is asked of a result: a run has tens of thousands, and a whole row of each would take seconds."""

    pk: int
    evaluation_id: int
    position: _Place
    line_id: int
    element_id: str


def as_candidates(results: Collection[Result]) -> list[Candidate]:
    """Samples' results as the rule of selection sees them; the queries of `failures_of` and one.

    A failed control sample counts until somebody accepts it by name; so does what a reviewer refused or sent back.
    """
    failures, decided = failures_of(results), newest_decisions([result.pk for result in results])
    refused = {pk for pk, row in decided.items() if row.review.decision != Decision.APPROVE}
    return [
        Candidate(
            key=result.pk,
            sample=result.sample_id,
            element=result.element_id,
            rank=result.rank,
            has_value=result.value is not None,
            holds=not failures[result.pk]["open"] and result.pk not in refused,
        )
        for result in results
        if result.sample_id is not None
    ]


def candidates_of(evaluation: Evaluation) -> Candidates:
    """Results of samples in an evaluation, as the rule of selection sees them; four queries, or up to seven."""
    positions = Position.objects.filter(run=evaluation.run_id).values_list("pk", "number", "portion")
    places = {pk: _Place(number, portion) for pk, number, portion in positions}
    results = Result.objects.filter(evaluation=evaluation, is_candidate=True, sample__isnull=False).order_by("pk")
    rows = list(results.values_list("pk", "position_id", "line_id", "element_id", "sample_id", "rank", "value"))
    touched = _touched(evaluation, rows, places)
    keys, _, _, elements, samples, ranks, values = zip(*rows, strict=True) if rows else [()] * 7
    return Candidates(
        keys=np.array(keys, dtype=np.int64),
        samples=np.array(samples, dtype=np.int64),
        elements=np.array(elements, dtype="U2"),
        ranks=np.array(ranks, dtype=np.int64),
        has_value=np.array([value is not None for value in values], dtype=np.bool_),
        holds=np.array([key not in touched for key in keys], dtype=np.bool_),
    )


def _touched(evaluation: Evaluation, rows: Sequence[tuple[Any, ...]], places: Mapping[int, _Place]) -> set[int]:
    """Keys of the results that an open failure speaks against: of their own evaluation, or of their batch elsewhere.

    Two queries; where a batch failed in another run, those of `_batch_failures` as well.
    """
    own = evaluation.outcomes.filter(verdict=Verdict.OUTSIDE, acceptance__isnull=True)
    cells: set[tuple[int, int | None]] = set()
    for measure, line, touches in own.values_list("measure", "line_id", "touches"):
        cells.update((number, None if measure in OF_POSITIONS else line) for number in touches)
    found = {
        pk
        for pk, place, line, *_ in rows
        if (places[place].number, line) in cells or (places[place].number, None) in cells
    }
    portions = {place.portion_id for place in places.values() if place.portion_id}
    if _of_failed_batches(portions).exclude(evaluation=evaluation).exists():
        keyed = [_Row(pk, evaluation.pk, places[place], line, element) for pk, place, line, element, *_ in rows]
        open_ones = (row.pk for row, outcome in _batch_failures(keyed, None) if not hasattr(outcome, "acceptance"))
        found.update(open_ones)
    return found


def newest_selections(
    *,
    sample_ids: Collection[int],
    method_id: int | None = None,
    but_of_run: int | None = None,
    until: datetime | None = None,
) -> dict[tuple[int, int, str], Selection]:
    """The selection that counts, by sample, method and element; one query.

    but_of_run: leave out those whose result is of this run. until: the one that counted at that moment.
    """
    rows = Selection.objects.all() if until is None else Selection.objects.filter(made_at__lte=until)
    # A look into the index for each row, whatever the statistics of the table say; a sorted list of the newest keys of
    # all groups took minutes where they said that it is empty.
    newer = rows.filter(
        sample=OuterRef("sample"), method=OuterRef("method"), element=OuterRef("element"), pk__gt=OuterRef("pk")
    )
    counting = rows.filter(~Exists(newer), sample__in=sample_ids)
    if method_id is not None:
        counting = counting.filter(method=method_id)
    if but_of_run is not None:
        counting = counting.exclude(result__evaluation__run=but_of_run)
    found = counting.select_related(
        "result__evaluation__run__method_version__method", "result__position", "result__line"
    )
    return {(row.sample_id, row.method_id, row.element_id): row for row in found}


def newest_decisions(result_ids: Iterable[int], until: datetime | None = None) -> dict[int, ReviewedResult]:
    """The newest review of each result, by the result's key; one query. until: the newest of that moment."""
    rows = ReviewedResult.objects.filter(result__in=list(result_ids)).select_related("review__made_by")
    if until is not None:
        rows = rows.filter(review__made_at__lte=until)
    return {row.result_id: row for row in rows.order_by("pk")}


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
    them: reading the solution again does not mend a batch, unless its control sample was read again too and held. A
    failure that a second run confirmed is not mended by a third reading either: the batch needs a new digestion.
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
    """Failures of a result's own evaluation that touch its position, at its line or as a whole; one query, or none."""
    by_place: dict[tuple[int, int | None, int], list[ControlOutcome]] = {}
    if outcomes is None:
        outcomes = list(_failed().filter(evaluation__in={result.evaluation_id for result in results}))
    for outcome in (one for one in outcomes if one.verdict == Verdict.OUTSIDE):
        line = None if outcome.measure in OF_POSITIONS else outcome.line_id
        for number in outcome.touches:
            by_place.setdefault((outcome.evaluation_id, line, number), []).append(outcome)
    for result in results:
        for line in (result.line_id, None):
            for outcome in by_place.get((result.evaluation_id, line, result.position.number), []):
                yield result, outcome


def _batch_failures(
    results: Collection[Result] | Collection[_Row], outcomes: Collection[ControlOutcome] | None
) -> Iterator[tuple[Any, ControlOutcome]]:
    """Failures of a result's batch in other runs, unless its own run read that control sample too; 1 to 3 queries."""
    portions = {result.position.portion_id for result in results if result.position.portion_id}
    evaluations = {result.evaluation_id for result in results}
    failed = _failed_in_batches(portions, {result.element_id for result in results})
    if not failed or {outcome.evaluation_id for outcome in failed} == evaluations:
        return  # none, or all of them the results' own
    by_portion = _by_portion(failed, portions)
    if outcomes is None:
        read = {outcome.position.portion_id for outcome in failed}
        outcomes = ControlOutcome.objects.filter(evaluation__in=evaluations, position__portion__in=read)
        outcomes = outcomes.select_related("position", "line")
    own = {
        (outcome.evaluation_id, outcome.position.portion_id, outcome.line.element_id): outcome.verdict in _HELD
        for outcome in sorted(outcomes, key=lambda outcome: outcome.verdict not in _HELD)  # one that failed counts
        if outcome.verdict != Verdict.NOT_JUDGED
    }
    confirmed = _confirmed(failed)
    for result in results:
        for outcome in by_portion.get((result.position.portion_id or 0, result.element_id), []):
            held = own.get((result.evaluation_id, outcome.position.portion_id, outcome.line.element_id))
            is_open = held is None or (held and _what_failed(outcome) in confirmed)
            if outcome.evaluation_id != result.evaluation_id and is_open:
                yield result, outcome


_HELD = frozenset({Verdict.WITHIN, Verdict.CLOSE})


def confirmed_batch_failures(portions: Collection[int]) -> dict[tuple[int, str], list[ControlOutcome]]:
    """Failed control samples of batches that a second run confirmed, by portion and element; two queries.

    Of the portions that stand on them, and of the control samples themselves. Reading any of them again says nothing
    new: their batch needs a new digestion.
    """
    failed = _failed_in_batches(portions)
    whats = _confirmed(failed)
    confirmed = [outcome for outcome in failed if _what_failed(outcome) in whats]
    if not confirmed:
        return {}
    found = _by_portion(confirmed, portions)
    for outcome in confirmed:
        if outcome.position.portion_id in portions:
            found.setdefault((outcome.position.portion_id, outcome.line.element_id), []).append(outcome)
    return found


def _what_failed(outcome: ControlOutcome) -> tuple[int | None, int, str]:
    """The control sample itself at its line, in whatever run it was read."""
    return outcome.position.portion_id, outcome.line_id, outcome.measure


def _confirmed(failed: Iterable[ControlOutcome]) -> set[tuple[int | None, int, str]]:
    """What failed in more runs than one."""
    runs: dict[tuple[int | None, int, str], set[int]] = {}
    for outcome in failed:
        runs.setdefault(_what_failed(outcome), set()).add(outcome.evaluation.run_id)
    return {what for what, of_runs in runs.items() if len(of_runs) > 1}


def _by_portion(
    failed: Sequence[ControlOutcome], portions: Collection[int]
) -> dict[tuple[int, str], list[ControlOutcome]]:
    """Failures of batches by the portion and the element that they touch; one query."""
    places = {
        (run, number): portion
        for run, number, portion in Position.objects.filter(portion__in=portions).values_list(
            "run", "number", "portion"
        )
    }
    found: dict[tuple[int, str], list[ControlOutcome]] = {}
    for outcome in failed:
        for number in outcome.touches:
            portion = places.get((outcome.evaluation.run_id, number))
            if portion is not None:
                found.setdefault((portion, outcome.line.element_id), []).append(outcome)
    return found


def _failed_in_batches(portions: Collection[int], elements: Collection[str] | None = None) -> list[ControlOutcome]:
    """Failed controls of batches in the newest evaluations of all runs that read these portions; one query.

    elements: at their lines; None at all lines.
    """
    rows = _of_failed_batches(portions)
    if elements is not None:
        rows = rows.filter(line__element__in=elements)
    return list(rows.select_related("evaluation", *_WITH_FAILURES))


def _of_failed_batches(portions: Collection[int]) -> QuerySet[ControlOutcome]:
    newer = Evaluation.objects.filter(run=OuterRef("evaluation__run"), version__gt=OuterRef("evaluation__version"))
    runs = Position.objects.filter(portion__in=portions).values("run")
    return _failed().filter(~Exists(newer), reach=Reach.BATCH, evaluation__run__in=runs)


def waiting_for_review(submission: Submission) -> list[int]:
    """Keys of the selected results of a submission that nobody has decided about; four queries."""
    selections = newest_selections(
        sample_ids=list(submission.samples.filter(struck_at=None).values_list("pk", flat=True))
    )
    chosen = sorted(selection.result_id for selection in selections.values())
    decided = newest_decisions(chosen)
    return [pk for pk in chosen if pk not in decided]
