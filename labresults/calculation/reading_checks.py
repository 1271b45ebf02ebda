"""Readings judged themselves, whatever they are of: the spread of their replicates, and their internal standard.

A run holds tens of thousands of readings: the judging is done on whole arrays, and words are made for rows only.
Reference: EPA Method 6010D (2018), 4.3.2, for the internal standard; it gives no window, the laboratory sets its own.
"""

from collections.abc import Iterator, Mapping
from math import isfinite, isnan

import numpy as np
from numpy.typing import NDArray

from labresults.calculation.criteria import Book, Observation, judged
from labresults.calculation.curve_checks import Judged
from labresults.calculation.internal_standard import lost_in_noise
from labresults.calculation.quality_control import are_not_above, figures
from labresults.calculation.run import Array, ControlOutcome, Criterion
from labresults.calculation.solutions import Solutions
from labresults.terms import Measure, Role

Rows = Mapping[Role, NDArray[np.intp]]


def judge_spreads(solutions: Solutions, book: Book) -> tuple[list[Judged], int]:
    """Return the outcomes of spreads that are outside, and how many readings were judged.

    The spread is 100 s / |mean| of the replicates as they were read; a reading counts where its concentration is at
    least `least_times` quantification limits.
    """
    spread = _spread_percent(solutions)
    outcomes: list[Judged] = []
    count = 0
    for role, rows in _rows_by_role(solutions).items():
        for column, line in sorted(solutions.lines.items()):
            for criterion in _measuring(book, role, line.element, Measure.SPREAD):
                counts = _is_judged(solutions, rows, column, criterion.least_times) & np.isfinite(spread[rows, column])
                count += int(counts.sum())
                outside = counts & ~_is_allowed(spread[rows, column], criterion)
                outcomes += [
                    (
                        int(row),
                        column,
                        _spread_outcome(solutions, int(row), column, float(spread[row, column]), criterion),
                    )
                    for row in rows[outside]
                ]
    return outcomes, count


def _spread_percent(solutions: Solutions) -> Array:
    """Return 100 s / |mean| of the replicates, [position x line]; NaN where it cannot be had."""
    run = solutions.run
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = 100.0 * run.spread / np.abs(run.signal)
    return np.where(run.saturated | (run.signal == 0), np.nan, spread)


def _rows_by_role(solutions: Solutions) -> Rows:
    found: dict[Role, list[int]] = {}
    for row, position in enumerate(solutions.run.positions):
        found.setdefault(position.role, []).append(row)
    return {role: np.array(rows) for role, rows in found.items()}


def _measuring(book: Book, role: Role, element: str, measure: Measure) -> list[Criterion]:
    return [criterion for criterion in book.speaking(role, element) if criterion.measure is measure]


def _is_judged(
    solutions: Solutions, rows: NDArray[np.intp], column: int, least_times: float | None
) -> NDArray[np.bool_]:
    """Return where a reading is high enough for its spread to say something."""
    if least_times is None:
        return np.ones(len(rows), dtype=np.bool_)
    read = solutions.read[rows, column]
    high_enough = are_not_above(least_times * solutions.quantification_limits[rows, column], read)
    return np.asarray(np.isfinite(read) & high_enough, dtype=np.bool_)


def _is_allowed(observed: Array, criterion: Criterion) -> NDArray[np.bool_]:
    """Return where numbers stand between the bounds of a criterion, both included."""
    allowed = np.ones(len(observed), dtype=np.bool_)
    if criterion.high is not None:
        allowed &= are_not_above(observed, np.full(len(observed), criterion.high))
    if criterion.low is not None:
        allowed &= are_not_above(np.full(len(observed), criterion.low), observed)
    return allowed


def _spread_outcome(
    solutions: Solutions, row: int, column: int, observed: float, criterion: Criterion
) -> ControlOutcome:
    run, method, line = solutions.run, solutions.method, solutions.lines[column]
    why = (
        f"{line.key} {figures(float(run.signal[row, column]))} {method.signal_unit}, standard deviation of "
        f"{run.count[row, column]:g} replicates {figures(float(run.spread[row, column]))}, spread"
    )
    found = float(solutions.concentration[row, column])
    return judged(
        Observation(observed, None, why),
        criterion,
        position=run.positions[row].number,
        line=line.key,
        close_fraction=method.close_fraction,
        found=found if isfinite(found) else None,
    )


def judge_internal_standard(solutions: Solutions, book: Book) -> Iterator[Judged]:
    """Yield one outcome for each position and criterion of its role, at the line of the internal standard."""
    run, method = solutions.run, solutions.method
    key = method.internal_standard
    if key is None or key not in run.line_keys:
        return
    column = run.line_keys.index(key)
    element = key.partition(" ")[0]
    lost = {block: _lost(key, *seen, method.signal_unit) for block, seen in lost_in_noise(run, key).items()}
    for row, position in enumerate(run.positions):
        for criterion in _measuring(book, position.role, element, Measure.INTERNAL_STANDARD):
            seen = lost.get(position.block) or _observe_internal_standard(solutions, row, column)
            yield (
                row,
                column,
                judged(seen, criterion, position=position.number, line=key, close_fraction=method.close_fraction),
            )


def _lost(key: str, mean: float, spread: float, unit: str) -> Observation:
    why = (
        f"The internal standard {key} cannot be told from noise: the calibration solutions read "
        f"{figures(mean)} {unit}, their replicates spread by {figures(spread)} {unit}."
    )
    return Observation(None, None, why, failed=True)


def _observe_internal_standard(solutions: Solutions, row: int, column: int) -> Observation:
    run, unit = solutions.run, solutions.method.signal_unit
    key, observed = run.line_keys[column], float(solutions.internal_standard_recovery[row])
    if run.saturated[row, column]:
        return Observation(None, None, f"{key}: the instrument was saturated at the internal standard.", failed=True)
    signal = float(run.signal[row, column])
    if isnan(signal):
        return Observation(None, None, f"The internal standard {key} was not read.")
    if isnan(observed):
        return Observation(None, None, f"The internal standard {key} has no mean of the calibration to compare with.")
    why = f"Internal standard {key} {figures(signal)} {unit}, of the mean of the calibration solutions"
    return Observation(observed, None, why)
