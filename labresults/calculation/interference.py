"""Inter-element correction: what an interfering element pretends at a line is taken away.

Reference: EPA Method 6010D (2018), section 4.2 and table 1: concentrations of analyte that an interferent pretends.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import hypot, isfinite
from typing import TYPE_CHECKING

import numpy as np

from labresults.calculation.curve_points import standard_concentration
from labresults.calculation.errors import NoInterferent
from labresults.calculation.quality_control import figures
from labresults.calculation.run import Array, LineSpecification, Position
from labresults.terms import Role

if TYPE_CHECKING:
    from labresults.calculation.solutions import Solutions

FAR_ABOVE = 100.0
"""A single-element solution holds its element at least so many times above every other (common practice, no source)."""

SIGNIFICANT_TIMES = 3.0
"""A coefficient says something from so many of its standard uncertainties on (common practice, no source)."""


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
    corrected = np.zeros_like(apparent)
    for i, j, share in _terms(matrix):
        corrected[:, i] += apparent[:, j] * share
    return corrected


def u_of_corrected(u: Array, matrix: Array) -> Array:
    """Return the standard uncertainty of corrected concentrations, [position x line], from that of the readings.

    The readings are independent and the coefficients taken as known (JCGM 100:2008 (GUM), 5.1.2).
    """
    if not matrix.any():
        return u.copy()
    squares = np.zeros_like(u)
    for i, j, share in _terms(matrix):
        squares[:, i] += (u[:, j] * share) ** 2
    return np.asarray(np.sqrt(squares), dtype=np.float64)


def _terms(matrix: Array) -> list[tuple[int, int, float]]:
    """Return line, other line and share of (1 + matrix)⁻¹ where it is not zero.

    Term by term: the same bits in whatever order the positions stand.
    """
    inverse = np.linalg.inv(np.eye(matrix.shape[0]) + matrix)
    return [(int(i), int(j), float(inverse[i, j])) for i, j in np.argwhere(inverse)]


@dataclass(frozen=True)
class Apparent:
    """What a single-element solution showed at a line.

    coefficient: solution units at the line for each solution unit of `element`, u: its standard uncertainty, NaN where
    the readings have none. reads, holds: in the solution unit, less what the solution says to hold of the line's own
    element; the interferent's concentration. as_read: holds was read at `from_line`; else it is what the solution
    should hold, since that line was over range or not read. significant: at least three u.
    """

    line: str
    element: str
    coefficient: float
    u: float
    reads: float
    holds: float
    from_line: str
    as_read: bool
    significant: bool


def apparent_from(solutions: "Solutions", row: int) -> Mapping[int, Apparent]:
    """Return what the element of a single-element solution pretends at the lines of others, by column.

    The coefficient is what is read at the line, before any correction, divided by the concentration of the interferent
    as read at its first line, or as stated where it is over range there (EPA Method 6010D (2018), 4.2). A line that was
    not read says nothing and is left out; so are those of the interferent itself, and what is over range.
    Raises NoInterferent for a position that is no interference check, or whose solution is not of one element.
    """
    position = solutions.run.positions[row]
    stated = _stated(solutions, position)
    element = _single_element(position, stated)
    own = _first_line([solutions.lines.get(column) for column in range(len(solutions.run.line_keys))], element)
    as_read = own is not None and not solutions.is_over_range(row, own) and solutions.read[row, own] > 0
    holds, u_holds = stated[element], (position.expected[element].u or 0.0) * _per_unit(position, element, stated)
    if own is not None and as_read:
        holds, u_holds = float(solutions.read[row, own]), float(solutions.u_read[row, own])
    found = {}
    for column, line in solutions.lines.items():
        reads = float(solutions.read[row, column]) - stated.get(line.element, 0.0)
        if line.element == element or not isfinite(reads) or solutions.is_over_range(row, column):
            continue
        coefficient = reads / holds
        u = hypot(float(solutions.u_read[row, column]), coefficient * u_holds) / holds
        found[column] = Apparent(
            line=line.key,
            element=element,
            coefficient=coefficient,
            u=u,
            reads=reads,
            holds=holds,
            from_line=solutions.lines[own].key if own is not None and as_read else "",
            as_read=as_read,
            significant=abs(coefficient) >= SIGNIFICANT_TIMES * u,
        )
    return found


def _stated(solutions: "Solutions", position: Position) -> dict[str, float]:
    """Return what a solution should hold as it was measured, by element, in the solution unit."""
    unit = solutions.method.solution_unit
    return {
        element: standard_concentration(position, element, unit) / position.dilution for element in position.expected
    }


def _per_unit(position: Position, element: str, stated: Mapping[str, float]) -> float:
    return stated[element] / position.expected[element].value


def _single_element(position: Position, stated: Mapping[str, float]) -> str:
    if position.role is not Role.INTERFERENCE_CHECK or not stated:
        raise NoInterferent(
            f"{position.label} (position {position.number}) is no interference check with a known content: no "
            "coefficient can be had of it. Take a position with a single-element solution."
        )
    element, *others = sorted(stated, key=lambda each: stated[each], reverse=True)
    next_one = max((abs(stated[other]) for other in others), default=0.0)
    if stated[element] <= 0 or stated[element] < FAR_ABOVE * next_one:
        raise NoInterferent(
            f"{position.label} (position {position.number}) holds {element}, {figures(stated[element])}, and "
            f"{others[0] if others else 'nothing else'}, {figures(next_one)}: a coefficient needs a solution of one "
            f"element, at least {FAR_ABOVE:g} times above every other."
        )
    return element
