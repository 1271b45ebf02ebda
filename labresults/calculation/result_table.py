"""All results of an evaluation as arrays: one `Result` is made when somebody asks for it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property
from math import isfinite
from typing import overload

import numpy as np
from numpy.typing import NDArray

from labresults.calculation.preparation import basis_of
from labresults.calculation.run import Array, Determination, LineSpecification, Position, Result
from labresults.terms import Basis, Mark

MARKS = (
    Mark.OVER_RANGE,
    Mark.NO_VALUE,
    Mark.BELOW_DETECTION,
    Mark.BELOW_QUANTIFICATION,
    Mark.CONTROL_FAILED,
    Mark.CARRY_OVER,
    Mark.LINES_DISAGREE,
)
"""Marks in the order in which they stand beside a result; each is a bit."""


def bit(mark: Mark) -> int:
    """Return the bit of a mark."""
    return 1 << MARKS.index(mark)


@cache
def marks_of(bits: int) -> tuple[Mark, ...]:
    """Return the marks that bits stand for."""
    return tuple(mark for mark in MARKS if bits & bit(mark))


@dataclass(frozen=True)
class ResultTable(Sequence[Result]):
    """Results by reported position and line, in the order of the run; arrays are [position x line], NaN for none.

    rows, columns: where each stands in the run; positions, lines, determinations: what stands there. kept: where there
    is a result. marks: bits of `MARKS`. why: why there is no value, by row and column of the table. It is read like a
    tuple of results.
    """

    rows: tuple[int, ...]
    columns: tuple[int, ...]
    positions: tuple[Position, ...]
    lines: tuple[LineSpecification, ...]
    determinations: tuple[Determination, ...]
    coverage_factor: float
    kept: NDArray[np.bool_]
    value: Array
    detection_limit: Array
    quantification_limit: Array
    upper_limit: Array
    u: Array
    u_reading: Array
    solution: Array
    marks: NDArray[np.int64]
    why: Mapping[tuple[int, int], str]

    @cached_property
    def places(self) -> list[tuple[int, int]]:
        """Row and column of each result, in their order."""
        return [(row, column) for row, column in np.argwhere(self.kept).tolist()]

    def __len__(self) -> int:
        return int(np.count_nonzero(self.kept))

    @overload
    def __getitem__(self, index: int) -> Result: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[Result, ...]: ...
    def __getitem__(self, index: int | slice) -> Result | tuple[Result, ...]:
        if isinstance(index, slice):
            return tuple(self._result(*place) for place in self.places[index])
        return self._result(*self.places[index])

    def __iter__(self) -> Iterator[Result]:
        return (self._result(*place) for place in self.places)

    def __repr__(self) -> str:
        return repr(tuple(self))

    def at(self, position: int, line: str) -> Result | None:
        """Return the result at a position, by its number, and a line, by its key; None where there is none."""
        row = next((row for row, each in enumerate(self.positions) if each.number == position), None)
        column = next((column for column, each in enumerate(self.lines) if each.key == line), None)
        if row is None or column is None or not self.kept[row, column]:
            return None
        return self._result(row, column)

    def bases(self) -> list[Basis]:
        """Return the basis of each result, in their order."""
        own = [None if position.portion is None else position.portion.basis for position in self.positions]
        usual = [determination.basis for determination in self.determinations]
        return [own[row] or usual[column] for row, column in self.places]

    @property
    def expanded_u(self) -> Array:
        """Expanded uncertainties, in the reporting unit."""
        return self.coverage_factor * self.u

    def marked(self, where: NDArray[np.bool_], mark: Mark) -> "ResultTable":
        """Return the same with a mark at some results, [position x line]."""
        return replace(self, marks=self.marks | np.where(where, bit(mark), 0))

    def _result(self, row: int, column: int) -> Result:
        line, determination = self.lines[column], self.determinations[column]
        portion, u = self.positions[row].portion, _number(self.u[row, column])
        return Result(
            position=self.positions[row].number,
            line=line.key,
            element=line.element,
            reported_as=determination.reported_as,
            unit=determination.unit,
            basis=determination.basis if portion is None else basis_of(portion, determination),
            value=_number(self.value[row, column]),
            detection_limit=float(self.detection_limit[row, column]),
            quantification_limit=float(self.quantification_limit[row, column]),
            reporting_limit=determination.reporting_limit,
            upper_limit=float(self.upper_limit[row, column]),
            u=u,
            expanded_u=None if u is None else self.coverage_factor * u,
            coverage_factor=self.coverage_factor,
            solution=_number(self.solution[row, column]),
            marks=marks_of(int(self.marks[row, column])),
            why_no_value=self.why.get((row, column)),
            u_reading=_number(self.u_reading[row, column]),
        )


def _number(value: float) -> float | None:
    return float(value) if isfinite(value) else None
