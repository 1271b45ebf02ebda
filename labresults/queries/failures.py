"""Failed control samples that speak against results. Each function says how many database queries it makes."""

from collections.abc import Collection, Iterable, Iterator, Sequence
from typing import Any, NamedTuple, TypedDict

from django.db.models import Exists, OuterRef, Q, QuerySet

from labresults.models import ControlOutcome, Evaluation, Position, Result
from labresults.terms import OF_POSITIONS, Reach, Verdict


class Place(NamedTuple):
    """What is asked of a position."""

    number: int
    portion_id: int | None


class Row(NamedTuple):
    """What is asked of a result: a run has tens of thousands, and a whole row of each would take seconds."""

    pk: int
    evaluation_id: int
    position: Place
    line_id: int
    element_id: str


class Standing(TypedDict):
    """Failed control samples that touch a result, apart by whether somebody accepted them."""

    open: list[ControlOutcome]
    accepted: list[ControlOutcome]


def failures_of(
    results: Collection[Result],
    *,
    outcomes: Collection[ControlOutcome] | None = None,
    failed: Sequence[ControlOutcome] | None = None,
) -> dict[int, Standing]:
    """Failed control samples that speak against each of these results, by the result's key; two to four queries.

    outcomes: those of the results' own evaluations, where the caller has them already; failed: likewise those that
    `in_failed_batches` names of every run that read the results' portions, at their elements.

    Those of its own evaluation that touch it, and those of its preparation batch that failed when another run read
    them: reading the solution again does not mend a batch, unless its control sample was read again too and held. A
    failure that a second run confirmed is not mended by a third reading either: the batch needs a new digestion.
    """
    found: dict[int, Standing] = {result.pk: {"open": [], "accepted": []} for result in results}
    for result, outcome in [*_own_failures(results, outcomes), *batch_failures(results, outcomes, failed)]:
        found[result.pk]["accepted" if hasattr(outcome, "acceptance") else "open"].append(outcome)
    return found


WIDE = ("evaluation__repeats", "evaluation__counted", "evaluation__left_out")
"""What may be long in an evaluation, and is asked for in none of these."""

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


def batch_failures(
    results: Collection[Result] | Collection[Row],
    outcomes: Collection[ControlOutcome] | None,
    failed: Sequence[ControlOutcome] | None = None,
) -> Iterator[tuple[Any, ControlOutcome]]:
    """Failures of a result's batch in other runs, unless its own run read that control sample too; up to 3 queries."""
    portions = {result.position.portion_id for result in results if result.position.portion_id}
    evaluations = {result.evaluation_id for result in results}
    if failed is None:
        failed = _failed_in_batches(portions, {result.element_id for result in results})
    if not failed or (len(evaluations) == 1 and {outcome.evaluation_id for outcome in failed} == evaluations):
        return  # none, or all of them of the one evaluation that all results are of
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
    rows = of_failed_batches(portions)
    if elements is not None:
        rows = rows.filter(line__element__in=elements)
    return list(rows.select_related("evaluation").defer(*WIDE))


def of_failed_batches(portions: Collection[int]) -> QuerySet[ControlOutcome]:
    """Failed control samples of batches, in the runs that read any of these portions, by key; not asked yet."""
    runs = Position.objects.filter(portion__in=portions).values("run")
    return _failed().filter(in_failed_batches(), evaluation__run__in=runs)


def in_failed_batches() -> Q:
    """Condition on outcomes: a control sample of a batch failed in the newest evaluation of a run."""
    newer = Evaluation.objects.filter(run=OuterRef("evaluation__run"), version__gt=OuterRef("evaluation__version"))
    return Q(~Exists(newer), verdict=Verdict.OUTSIDE, reach=Reach.BATCH)
