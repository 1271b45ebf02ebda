"""Signals as ratios to the internal standard's line (EPA Method 6010D (2018), 4.3.2)."""

from math import fsum, isfinite, sqrt

import numpy as np

from labresults.calculation.errors import NoCurve
from labresults.calculation.run import Array, RunTable
from labresults.terms import CALIBRATING


def ratios(run: RunTable, line: str | None) -> tuple[Array, Array]:
    """Return signals and their standard deviations, [position x line], divided by the signal of `line`.

    Without a line both come back as they were read. Where the internal standard was not read, or is not above zero,
    the ratio is NaN. The relative standard deviations are combined as those of independent readings.
    Raises NoCurve when the run lacks the line.
    """
    if line is None:
        return run.signal, run.spread
    if line not in run.line_keys:
        raise NoCurve(
            f"The run has no readings at {line}, which is the method's internal standard. Load a file that has them, "
            "or choose a method version without an internal standard."
        )
    column = run.line_keys.index(line)
    standard = np.where(run.signal[:, column] > 0, run.signal[:, column], np.nan)[:, None]
    standard = np.where(run.saturated[:, column][:, None], np.nan, standard)
    ratio = run.signal / standard
    relative = run.spread[:, column][:, None] / standard
    return ratio, np.sqrt((run.spread / standard) ** 2 + (ratio * relative) ** 2)


TOLD_APART_FROM = 10.0
"""So many standard deviations of its replicates an internal standard reads at least (common practice, no source)."""


def lost_in_noise(run: RunTable, line: str) -> dict[int, tuple[float, float]]:
    """Return the calibration blocks whose internal standard cannot be told from noise: what it reads, and the spread.

    By block, the mean signal of the calibration solutions and the pooled standard deviation of their replicates. A
    recovery is of no use there: it compares one noise with another. Blocks without replicates are not among them.
    """
    column = run.line_keys.index(line)
    found = {}
    for block in sorted({position.block for position in run.positions}):
        rows = [
            row
            for row, position in enumerate(run.positions)
            if position.block == block and position.role in CALIBRATING and not run.saturated[row, column]
        ]
        signals = [value for value in run.signal[rows, column].tolist() if isfinite(value)]
        squares = [value**2 for value in run.spread[rows, column].tolist() if isfinite(value)]
        if signals and squares:
            mean, spread = fsum(signals) / len(signals), sqrt(fsum(squares) / len(squares))
            if mean < TOLD_APART_FROM * spread:
                found[block] = mean, spread
    return found


def recovery_percent(run: RunTable, line: str | None) -> Array:
    """Return what the internal standard's line reads, in % of its mean at the calibration solutions, [position].

    The mean is that of the position's own calibration block, and does not depend on their order. NaN everywhere without
    a line, where the position was not read or was saturated, and in a block without calibration solutions. A recovery
    at or below zero is given as it is: an internal standard that is dead must be seen.
    Source of the window: the method version's own criterion; EPA Method 6010D (2018), 4.3.2, asks that it is watched.
    """
    recovery = np.full(len(run.positions), np.nan)
    if line is None or line not in run.line_keys:
        return recovery
    column = run.line_keys.index(line)
    signal = np.where(run.saturated[:, column], np.nan, run.signal[:, column])
    blocks = np.array([position.block for position in run.positions])
    calibrating = np.array([position.role in CALIBRATING for position in run.positions], dtype=np.bool_)
    for block in set(blocks.tolist()):
        own = blocks == block
        standards = signal[own & calibrating & np.isfinite(signal)].tolist()
        mean = fsum(standards) / len(standards) if standards else 0.0
        if mean > 0:
            recovery[own] = 100.0 * signal[own] / mean
    return recovery
