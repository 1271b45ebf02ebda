"""What a failed control sample speaks for: the positions whose results stand on it."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from labresults.calculation.blanks import as_made_up
from labresults.calculation.quality_control import is_not_above
from labresults.calculation.run import ControlOutcome, Criterion, Position
from labresults.calculation.solutions import Solutions
from labresults.terms import OF_POSITIONS, OF_READINGS, Measure, Reach, Role, Verdict

SAMPLE_LIKE = frozenset({Role.SAMPLE, Role.DUPLICATE, Role.SPIKE})
"""Roles whose results stand on control samples."""

HELD = frozenset({Verdict.WITHIN, Verdict.CLOSE})

Held = Mapping[tuple[str, Measure, Role, int], Sequence[int]]
"""Rows of the checks that held, ascending, by line, measure, role and calibration block."""


@dataclass
class _Samples:
    """Rows of what stands on control samples, ascending, and the numbers of these positions."""

    rows: list[int] = field(default_factory=list)
    numbers: list[int] = field(default_factory=list)

    def add(self, row: int, number: int) -> None:
        self.rows.append(row)
        self.numbers.append(number)


@dataclass(frozen=True)
class _Around:
    """The run as a failure sees it."""

    solutions: Solutions
    rows: Mapping[int, int]  # by position number
    held: Held
    blocks: Mapping[int, _Samples]
    batches: Mapping[str, _Samples]


def add_touched(solutions: Solutions, outcomes: Sequence[ControlOutcome]) -> tuple[ControlOutcome, ...]:
    """Return the outcomes, those that failed with the numbers of the positions that they touch, in order of the run.

    The bracket runs from the last check of the same role and line that held before to the next that held after, within
    the calibration block, and to the block's ends where there is none. The batch is that of the control sample's
    portion; a control sample without a portion speaks for its block, and so does a curve. The sample is the parent,
    else itself; of a reading it is the position that was read. An outcome of a measure in OF_POSITIONS speaks for every
    line of what it touches: see `failed_cells`.
    """
    if not any(outcome.verdict is Verdict.OUTSIDE for outcome in outcomes):
        return tuple(outcomes)
    criteria = {criterion.key: criterion for criterion in solutions.method.criteria}
    around = _look_around(solutions, outcomes)
    return tuple(
        replace(outcome, touches=_touched(around, outcome, criteria[outcome.criterion]))
        if outcome.verdict is Verdict.OUTSIDE
        else outcome
        for outcome in outcomes
    )


def failed_cells(outcomes: Iterable[ControlOutcome], line_keys: Iterable[str]) -> set[tuple[int, str]]:
    """Return the results, by position number and line, that some failed outcome touches.

    A failure of a measure in OF_POSITIONS, which stands at the internal standard's line, counts at every line.
    """
    lines = tuple(line_keys)
    return {
        (number, line)
        for outcome in outcomes
        if outcome.verdict is Verdict.OUTSIDE
        for number in outcome.touches
        for line in (lines if outcome.measure in OF_POSITIONS else (outcome.line,))
    }


def _look_around(solutions: Solutions, outcomes: Sequence[ControlOutcome]) -> _Around:
    positions = solutions.run.positions
    rows = {position.number: row for row, position in enumerate(positions)}
    blocks: dict[int, _Samples] = {}
    batches: dict[str, _Samples] = {}
    for row, position in enumerate(positions):
        if position.role in SAMPLE_LIKE:
            blocks.setdefault(position.block, _Samples()).add(row, position.number)
            if position.portion is not None:
                batches.setdefault(position.portion.batch, _Samples()).add(row, position.number)
    return _Around(solutions, rows, _held(positions, outcomes, rows), blocks, batches)


def _held(positions: Sequence[Position], outcomes: Sequence[ControlOutcome], rows: Mapping[int, int]) -> Held:
    held: dict[tuple[str, Measure, Role, int], list[int]] = {}
    for outcome in outcomes:
        if outcome.reach is Reach.BRACKET and outcome.verdict in HELD:
            row = rows[outcome.position]
            here = positions[row]
            held.setdefault((outcome.line, outcome.measure, here.role, here.block), []).append(row)
    return {key: sorted(found) for key, found in held.items()}


def _touched(around: _Around, failed: ControlOutcome, criterion: Criterion) -> tuple[int, ...]:
    row = around.rows[failed.position]
    here = around.solutions.run.positions[row]
    if failed.reach is Reach.SAMPLE:
        is_itself = here.parent is None or failed.measure in OF_READINGS
        return (here.number if is_itself or here.parent is None else here.parent,)
    rows, numbers = _reached(around, failed, row, here)
    times = criterion.spares_times_blank
    if here.role is Role.METHOD_BLANK and times is not None:
        spared = [_is_spared(around.solutions, at, row, failed.line, times) for at in rows]
    elif here.role is Role.LINEAR_RANGE_CHECK:
        spared = [not _is_above_standards(around.solutions, at, failed.line) for at in rows]
    else:
        return tuple(numbers)
    return tuple(number for number, is_spared in zip(numbers, spared, strict=True) if not is_spared)


def _reached(around: _Around, failed: ControlOutcome, row: int, here: Position) -> tuple[Sequence[int], Sequence[int]]:
    """Return rows and numbers of every sample of the batch, the bracket or the block that a failure speaks for."""
    if failed.reach is Reach.BATCH and here.portion is not None:
        batch = around.batches.get(here.portion.batch, _Samples())
        return batch.rows, batch.numbers
    samples = around.blocks.get(here.block, _Samples())
    if failed.reach is not Reach.BRACKET:
        return samples.rows, samples.numbers
    held = around.held.get((failed.line, failed.measure, here.role, here.block), ())
    place = bisect_left(held, row)
    first = bisect_right(samples.rows, held[place - 1]) if place else 0
    last = bisect_left(samples.rows, held[place]) if place < len(held) else len(samples.rows)
    return samples.rows[first:last], samples.numbers[first:last]


def _is_spared(solutions: Solutions, row: int, blank_row: int, line: str, times: float) -> bool:
    """Return whether a sample holds at least so many times the blank's amount at this line (EPA 6010D, 9.7.1).

    A blank below zero takes away as much as one above it adds; under rules 1 it spared everything.
    """
    column = solutions.run.line_keys.index(line)
    sample, blank = solutions.run.positions[row], solutions.run.positions[blank_row]
    amount = solutions.concentration[row, column] * as_made_up(sample)
    found = float(solutions.concentration[blank_row, column])
    bound = times * (abs(found) if solutions.method.rules > 1 else found) * as_made_up(blank)
    return bool(is_not_above(bound, float(amount)))


def _is_above_standards(solutions: Solutions, row: int, line: str) -> bool:
    """Return whether a sample reads above the highest standard: only that stands on the linear range (6010D, 9.6)."""
    column = solutions.run.line_keys.index(line)
    curve = solutions.curves.get((solutions.run.positions[row].block, column))
    return curve is None or not solutions.read[row, column] <= curve.high
