"""What a failed control sample speaks for: the positions whose results stand on it."""

from collections.abc import Sequence
from dataclasses import replace

from labresults.calculation.blanks import as_made_up
from labresults.calculation.quality_control import is_not_above
from labresults.calculation.run import ControlOutcome, Criterion, Position
from labresults.calculation.solutions import Solutions
from labresults.terms import Reach, Role, Verdict

SAMPLE_LIKE = frozenset({Role.SAMPLE, Role.DUPLICATE, Role.SPIKE})
"""Roles whose results stand on control samples."""

HELD = frozenset({Verdict.WITHIN, Verdict.CLOSE})


def add_touched(solutions: Solutions, outcomes: Sequence[ControlOutcome]) -> tuple[ControlOutcome, ...]:
    """Return the outcomes, those that failed with the numbers of the positions that they touch, in order of the run.

    The bracket runs from the last check of the same role and line that held before to the next that held after, within
    the calibration block, and to the block's ends where there is none. The batch is that of the control sample's
    portion; a control sample without a portion speaks for its block. The sample is the parent, else itself.
    """
    criteria = {criterion.key: criterion for criterion in solutions.method.criteria}
    rows = {position.number: row for row, position in enumerate(solutions.run.positions)}
    return tuple(
        replace(outcome, touches=_touched(solutions, outcomes, outcome, criteria[outcome.criterion], rows))
        if outcome.verdict is Verdict.OUTSIDE
        else outcome
        for outcome in outcomes
    )


def _touched(
    solutions: Solutions,
    outcomes: Sequence[ControlOutcome],
    failed: ControlOutcome,
    criterion: Criterion,
    rows: dict[int, int],
) -> tuple[int, ...]:
    here = solutions.run.positions[rows[failed.position]]
    if failed.reach is Reach.SAMPLE:
        return (here.number if here.parent is None else here.parent,)
    samples = [at for at in _reached(solutions, outcomes, failed, here, rows) if at.role in SAMPLE_LIKE]
    times = criterion.spares_times_blank
    if here.role is Role.METHOD_BLANK and times is not None:
        samples = [at for at in samples if not _is_spared(solutions, at, here, failed.line, times, rows)]
    return tuple(at.number for at in samples)


def _reached(
    solutions: Solutions,
    outcomes: Sequence[ControlOutcome],
    failed: ControlOutcome,
    here: Position,
    rows: dict[int, int],
) -> list[Position]:
    """Return every position of the batch, the bracket or the block that a failure speaks for."""
    positions = solutions.run.positions
    if failed.reach is Reach.BATCH and here.portion is not None:
        batch = here.portion.batch
        return [at for at in positions if at.portion is not None and at.portion.batch == batch]
    first, last = 0, len(positions)
    if failed.reach is Reach.BRACKET:
        first, last = _bracket(positions, outcomes, failed, rows)
    return [at for at in positions[first:last] if at.block == here.block]


def _bracket(
    positions: Sequence[Position], outcomes: Sequence[ControlOutcome], failed: ControlOutcome, rows: dict[int, int]
) -> tuple[int, int]:
    """Return the first and the last row, excluded, of the bracket around a failed check."""
    row = rows[failed.position]
    here = positions[row]
    held = [
        rows[other.position]
        for other in outcomes
        if other.line == failed.line
        and other.measure is failed.measure
        and other.verdict in HELD
        and positions[rows[other.position]].role is here.role
        and positions[rows[other.position]].block == here.block
    ]
    before = max((other for other in held if other < row), default=-1)
    after = min((other for other in held if other > row), default=len(positions))
    return before + 1, after


def _is_spared(
    solutions: Solutions, sample: Position, blank: Position, line: str, times: float, rows: dict[int, int]
) -> bool:
    """Return whether a sample holds at least so many times the blank's amount at this line (EPA 6010D, 9.7.1)."""
    column = solutions.run.line_keys.index(line)
    amount = solutions.concentration[rows[sample.number], column] * as_made_up(sample)
    bound = times * solutions.concentration[rows[blank.number], column] * as_made_up(blank)
    return bool(is_not_above(float(bound), float(amount)))
