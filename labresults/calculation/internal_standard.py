"""Signals as ratios to the internal standard's line (EPA Method 6010D (2018), 4.3.2)."""

import numpy as np

from labresults.calculation.errors import NoCurve
from labresults.calculation.run import Array, RunTable


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
