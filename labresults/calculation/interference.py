"""Inter-element correction: what an interfering element pretends at a line is taken away.

Reference: EPA Method 6010D (2018), section 4.2 and table 1: concentrations of analyte that an interferent pretends.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from labresults.calculation.run import Array, LineSpecification


@dataclass(frozen=True)
class Corrections:
    """matrix [line x line]: what line i reads for each solution unit at line j; lacking: interferents not measured."""

    matrix: Array
    lacking: tuple[tuple[str, ...], ...]

    def of(self, column: int) -> list[int]:
        """Return the columns of the lines whose elements interfere at a line."""
        return [int(j) for j in np.flatnonzero(self.matrix[column])]


def corrections(columns: Sequence[LineSpecification | None]) -> Corrections:
    """Return the corrections that the lines of a run ask for; None stands for a line that is not corrected.

    An interfering element is taken from the line of it that ranks first in the run.
    """
    matrix = np.zeros((len(columns), len(columns)))
    lacking = []
    for i, line in enumerate(columns):
        missing = []
        for interference in line.interferences if line else ():
            j = _first_line(columns, interference.element)
            if j is None:
                missing.append(interference.element)
            else:
                matrix[i, j] += interference.apparent
        lacking.append(tuple(missing))
    return Corrections(matrix, tuple(lacking))


def _first_line(columns: Sequence[LineSpecification | None], element: str) -> int | None:
    ranked = [(line.rank, j) for j, line in enumerate(columns) if line is not None and line.element == element]
    return min(ranked)[1] if ranked else None


def correct(apparent: Array, matrix: Array) -> Array:
    """Return true concentrations from apparent ones, [position x line], apparent = (1 + matrix) · true.

    Solved together, so that elements that interfere with each other are right as well. A NaN reaches only the lines
    that need it.
    """
    if not matrix.any():
        return apparent.copy()
    inverse = np.linalg.inv(np.eye(matrix.shape[0]) + matrix)
    corrected = np.zeros_like(apparent)
    for i in range(matrix.shape[0]):
        for j in np.flatnonzero(inverse[i]):  # term by term: the same bits in whatever order the positions stand
            corrected[:, i] += apparent[:, j] * inverse[i, j]
    return corrected
