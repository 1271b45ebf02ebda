"""Every control sample of a run judged against the method's criteria, line by line.

They are judged on what was read: a drift that is corrected in the samples is not corrected in what shows it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from labresults.calculation import against_parent
from labresults.calculation.against_expected import (
    observe_error_ratio,
    observe_read_back,
    observe_recovery,
    observe_times_limit,
)
from labresults.calculation.criteria import Book, Observation, judged
from labresults.calculation.curve_checks import Judged as Placed
from labresults.calculation.curve_checks import judge_curves
from labresults.calculation.errors import CalculationError
from labresults.calculation.judged_places import Place, board_of
from labresults.calculation.reading_checks import judge_internal_standard, judge_spreads
from labresults.calculation.run import ControlOutcome, Criterion
from labresults.calculation.solutions import Solutions
from labresults.terms import Measure

OTHERWISE = frozenset(
    {Measure.SPREAD, Measure.INTERNAL_STANDARD, Measure.CORRELATION, Measure.STANDARD_ERROR, Measure.LACK_OF_FIT}
)
"""Measures of readings and of curves, which are judged all at once."""


@dataclass(frozen=True)
class Judged:
    """Control samples judged. counted: how many readings were, of measures that keep only failures as outcomes."""

    outcomes: tuple[ControlOutcome, ...]
    counted: Mapping[Measure, int] = field(default_factory=dict)


def judge_control_samples(solutions: Solutions) -> Judged:
    """Return one outcome for each control sample, line and criterion that speaks of it, in the order of measurement.

    A criterion of an element stands before the general one of the same role and measure. Curves are judged at their
    highest standard in use, internal standards at their own line; of the spreads of replicates only those outside are
    outcomes, and all are counted. What a failure touches is not filled in here.
    """
    book = Book(solutions.method)
    placed = [*_at_places(solutions, book), *judge_curves(solutions, book), *judge_internal_standard(solutions, book)]
    spreads, count = judge_spreads(solutions, book)
    placed += spreads
    placed.sort(key=lambda each: each[:2])
    judges_spread = any(criterion.measure is Measure.SPREAD for criterion in solutions.method.criteria)
    return Judged(tuple(outcome for *_, outcome in placed), {Measure.SPREAD: count} if judges_spread else {})


def _at_places(solutions: Solutions, book: Book) -> list[Placed]:
    board = board_of(solutions)
    columns = sorted(solutions.lines.items())
    roles = {criterion.role for criterion in solutions.method.criteria if criterion.measure not in OTHERWISE}
    placed = []
    for row, position in enumerate(solutions.run.positions):
        if position.role not in roles:
            continue
        for column, line in columns:
            place = Place(board, row, column)
            for criterion in book.speaking(position.role, line.element):
                outcome = None if criterion.measure in OTHERWISE else _outcome(place, criterion)
                if outcome is not None:
                    placed.append((row, column, outcome))
    return placed


def _outcome(place: Place, criterion: Criterion) -> ControlOutcome | None:
    """Return the outcome of a place; None where the criterion does not speak of it."""
    try:
        seen = _observe(place, criterion)
    except CalculationError as error:
        seen = Observation(None, None, str(error))
    if seen is None:
        return None
    return judged(
        seen,
        criterion,
        position=place.position.number,
        line=place.line.key,
        close_fraction=place.method.close_fraction,
        found=place.found,
    )


def _observe(place: Place, criterion: Criterion) -> Observation | None:
    """Return what is judged. Raises CalculationError where a chain cannot be followed: then nothing is judged."""
    match criterion.measure:
        case Measure.RECOVERY:
            return observe_recovery(place)
        case Measure.TIMES_QUANTIFICATION_LIMIT:
            return observe_times_limit(place)
        case Measure.ERROR_RATIO:
            return observe_error_ratio(place)
        case Measure.READ_BACK:
            return observe_read_back(place, criterion.least_times)
        case _:
            return against_parent.with_parent(place, criterion, _COMPARISONS[criterion.measure])


_COMPARISONS: Mapping[Measure, against_parent.Compare] = {
    Measure.DIFFERENCE: against_parent.difference,
    Measure.ABSOLUTE_DIFFERENCE: against_parent.absolute,
    Measure.HORWITZ_RATIO: against_parent.over_expected,
    Measure.SPIKE_RECOVERY: against_parent.spike_recovery,
    Measure.DILUTION_DIFFERENCE: against_parent.dilution_difference,
}
