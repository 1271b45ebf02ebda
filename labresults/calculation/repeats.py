"""What is to be measured again, and how: proposed by an evaluation, so that the cause is on record before it is read.

One proposal a position and cause: the whole position is read again, whatever number of its lines asked for it. What is
proposed is the smallest thing that answers the cause: reading again before diluting again, diluting before digesting.
What a first reading cannot know (that a batch failure was confirmed by a second one, and asks for a new digestion) is
not decided here. Factors are total dilutions at the instrument, in place of the one that was made, from the
laboratory's own list; 1 is undiluted.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np

from labresults.calculation.quality_control import figures
from labresults.calculation.result_table import ResultTable, bit
from labresults.calculation.results import DILUTED_AGAIN, smallest_step
from labresults.calculation.run import ControlOutcome, Disagreement, Position, ProposedRepeat
from labresults.calculation.solutions import Solutions
from labresults.terms import OF_POSITIONS, Mark, Measure, Repeat, RepeatCause, Verdict

NAMED = 3
"""So many lines are named in a sentence; of the others it says how many they are."""

OF_ONE_READING = frozenset({Measure.SPREAD, Measure.INTERNAL_STANDARD})
"""Measures of a reading itself: no control sample failed."""


@dataclass(frozen=True)
class _Asked:
    """What one line asks for at a position; factor None: none can be given."""

    row: int
    line: str
    cause: RepeatCause
    words: str
    factor: float | None


def propose_repeats(
    solutions: Solutions,
    outcomes: Sequence[ControlOutcome],
    results: ResultTable,
    disagreements: Sequence[Disagreement],
) -> tuple[ProposedRepeat, ...]:
    """Return every repeat that a run asks for, in the order of the run and of `RepeatCause`.

    Over range: diluted so that every line comes under four fifths of its range; saturated: diluted, without a factor.
    Diluted below the quantification limit: the smallest factor that keeps it under four fifths of the range, unless the
    dilution was itself a repeat. Lines that disagree: the next larger factor, since an interference shows by dilution.
    Replicates that spread, an internal standard outside, a failed check and what it touches, a reading after a very
    high one, nothing read: read again as it was. Only of solutions of a portion, and nothing of what has no result.
    """
    asked = chain(
        _over_range(solutions),
        _under_range(solutions, results),
        _of_readings(solutions, outcomes),
        _failed_checks(solutions, outcomes, results),
        _carried(solutions, results),
        _disagreeing(solutions, disagreements),
        _not_read(solutions, results),
    )
    groups: dict[tuple[int, RepeatCause], list[_Asked]] = {}
    for each in asked:
        groups.setdefault((each.row, each.cause), []).append(each)
    order = list(RepeatCause)
    keys = sorted(groups, key=lambda key: (key[0], order.index(key[1])))
    return tuple(_proposal(solutions.run.positions[row], cause, groups[row, cause]) for row, cause in keys)


_KINDS = {
    RepeatCause.OVER_RANGE: Repeat.RE_DILUTE,
    RepeatCause.SATURATED: Repeat.RE_DILUTE,
    RepeatCause.UNDER_RANGE: Repeat.RE_DILUTE,
    RepeatCause.LINES_DISAGREE: Repeat.RE_DILUTE,
}

_AFTER_A_RINSE = "Read it again after a rinse."

_TO_DO = {
    RepeatCause.SATURATED: "Dilute it and read it again; there is no number to compute a factor from.",
    RepeatCause.HIGH_SPREAD: "Read it again.",
    RepeatCause.INTERNAL_STANDARD: "Read it again.",
    RepeatCause.FAILED_CHECK: "Read it again.",
    RepeatCause.CARRY_OVER: _AFTER_A_RINSE,
    RepeatCause.NOT_READ: "Read it again.",
}


def _proposal(position: Position, cause: RepeatCause, asked: Sequence[_Asked]) -> ProposedRepeat:
    lines = list(dict.fromkeys(each.line for each in asked if each.line))
    factors = [each.factor for each in asked]
    known = [factor for factor in factors if factor is not None]
    factor = max(known) if len(known) == len(factors) else None
    return ProposedRepeat(
        position=position.number,
        line=lines[0] if len(lines) == 1 else None,
        cause=cause,
        kind=_KINDS.get(cause, Repeat.RE_READ),
        factor=factor,
        why=f"{_listed([each.words for each in asked])}. {_TO_DO.get(cause) or _diluted(factor)}",
    )


def _listed(words: Iterable[str]) -> str:
    """Return sentences without their full stop behind each other, at most NAMED of them."""
    different = list(dict.fromkeys(words))
    text = "; ".join(different[:NAMED])
    more = len(different) - NAMED
    return f"{text}; and {more} more" if more > 0 else text


def _diluted(factor: float | None) -> str:
    if factor is None:
        return "No factor of the method's own list serves. Dilute it by hand, or use another method."
    return "Read it undiluted." if factor == 1 else f"Dilute it × {factor:g} and read it again."


def _over_range(solutions: Solutions) -> Iterator[_Asked]:
    unit, steps = solutions.method.solution_unit, solutions.method.dilution_steps
    for row, column in np.argwhere(solutions.over_range).tolist():
        position = solutions.run.positions[row]
        if position.role not in DILUTED_AGAIN or position.portion is None or column not in solutions.lines:
            continue
        key, top = solutions.lines[column].key, solutions.range_top(row, column)
        if solutions.run.saturated[row, column]:
            yield _Asked(row, key, RepeatCause.SATURATED, f"{key} was saturated", None)
            continue
        read = float(solutions.read[row, column])
        words = f"{key} reads {figures(read, top)} {unit}, above the working range of {top:g} {unit}"
        yield _Asked(row, key, RepeatCause.OVER_RANGE, words, smallest_step(read * position.dilution, top, steps))


def _under_range(solutions: Solutions, results: ResultTable) -> Iterator[_Asked]:
    """What was diluted too far. A dilution that was a repeat was made for another line: nothing is asked of it."""
    unit, steps = solutions.method.solution_unit, (1.0, *solutions.method.dilution_steps)
    low = results.value < results.quantification_limit
    for index, place in np.argwhere(low & results.kept).tolist():
        position, line = results.positions[index], results.lines[place]
        if position.dilution <= 1 or position.is_repeat or position.role not in DILUTED_AGAIN:
            continue
        row, column = results.rows[index], results.columns[place]
        read, limit = float(solutions.read[row, column]), solutions.quantification_limit(row, column)
        factor = smallest_step(read * position.dilution, solutions.range_top(row, column), steps)
        if factor is not None and factor < position.dilution:
            words = (
                f"{line.key} reads {figures(read, limit)} {unit} diluted × {position.dilution:g}, below the "
                f"quantification limit of {limit:g} {unit}"
            )
            yield _Asked(row, line.key, RepeatCause.UNDER_RANGE, words, factor)


def _of_readings(solutions: Solutions, outcomes: Sequence[ControlOutcome]) -> Iterator[_Asked]:
    """Replicates that spread, and internal standards outside their window: at the position itself."""
    rows = {position.number: row for row, position in enumerate(solutions.run.positions)}
    for outcome in outcomes:
        if outcome.verdict is not Verdict.OUTSIDE or outcome.measure not in OF_ONE_READING:
            continue
        position = solutions.run.positions[rows[outcome.position]]
        if position.portion is not None:
            whole = outcome.measure in OF_POSITIONS
            cause = RepeatCause.INTERNAL_STANDARD if whole else RepeatCause.HIGH_SPREAD
            words = outcome.why.rstrip(".")
            yield _Asked(rows[outcome.position], "" if whole else outcome.line, cause, words, position.dilution)


def _failed_checks(solutions: Solutions, outcomes: Sequence[ControlOutcome], results: ResultTable) -> Iterator[_Asked]:
    """What a failed control sample touches and has a value, and the control sample's own solution with it."""
    valued = ~np.isnan(results.value)
    index_of = {position.number: index for index, position in enumerate(results.positions)}
    place_of = {line.key: place for place, line in enumerate(results.lines)}
    rows = {position.number: row for row, position in enumerate(solutions.run.positions)}
    for outcome in outcomes:
        if outcome.verdict is not Verdict.OUTSIDE or outcome.measure in OF_ONE_READING:
            continue
        here = solutions.run.positions[rows[outcome.position]]
        words = f"{here.label}, position {here.number}: {outcome.why.rstrip('.')}"
        place = place_of.get(outcome.line)
        touched = [
            number
            for number in outcome.touches
            if place is not None and number in index_of and valued[index_of[number], place]
        ]
        own = [here.number] if here.portion is not None else []
        for number in dict.fromkeys([*touched, *(own if touched else ())]):
            row = rows[number]
            factor = solutions.run.positions[row].dilution
            yield _Asked(row, outcome.line, RepeatCause.FAILED_CHECK, words, factor)


def _carried(solutions: Solutions, results: ResultTable) -> Iterator[_Asked]:
    for index, place in np.argwhere(results.marks & bit(Mark.CARRY_OVER)).tolist():
        row, column, key = results.rows[index], results.columns[place], results.lines[place].key
        words = (solutions.why_carried(row, column) or "").removesuffix(_AFTER_A_RINSE).strip().rstrip(".")
        yield _Asked(row, key, RepeatCause.CARRY_OVER, words, results.positions[index].dilution)


def _disagreeing(solutions: Solutions, disagreements: Sequence[Disagreement]) -> Iterator[_Asked]:
    rows = {position.number: row for row, position in enumerate(solutions.run.positions)}
    columns = {line.key: column for column, line in solutions.lines.items()}
    steps = sorted(solutions.method.dilution_steps)
    for each in disagreements:
        row, column = rows[each.position], columns[each.chosen]
        position, limit = solutions.run.positions[row], solutions.quantification_limit(row, column)
        undiluted = float(solutions.read[row, column]) * position.dilution
        factor = next((step for step in steps if step > position.dilution and undiluted / step >= limit), None)
        words = (
            f"{each.chosen} and {each.other} differ by {figures(each.difference_percent, each.allowed_percent)} %, "
            f"allowed {each.allowed_percent:g} %"
        )
        for line in (each.chosen, each.other):
            yield _Asked(row, line, RepeatCause.LINES_DISAGREE, words, factor)


def _not_read(solutions: Solutions, results: ResultTable) -> Iterator[_Asked]:
    signal, saturated = solutions.signal, solutions.run.saturated
    for index, place in np.argwhere(results.kept & np.isnan(results.value)).tolist():
        row, column, position = results.rows[index], results.columns[place], results.positions[index]
        if np.isnan(signal[row, column]) and not saturated[row, column]:
            key = results.lines[place].key
            unread = np.isnan(solutions.run.signal[row, column])
            words = f"{key} was not read" if unread else f"{key}: its internal standard was not read"
            yield _Asked(row, key, RepeatCause.NOT_READ, words, position.dilution)
