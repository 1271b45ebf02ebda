"""A control sample at a line: where it stands in the run, what was found there, and what it is compared with."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite

import numpy as np

from labresults.calculation.quality_control import figures
from labresults.calculation.run import Determination, LineSpecification, MethodSpecification, Position
from labresults.calculation.solutions import Solutions
from labresults.terms import SolutionKind


@dataclass(frozen=True)
class Board:
    """The run as control samples see it. rows: the row of each position, by its number.

    plain: where there certainly is a concentration, [position x line]; elsewhere the solutions say why not, if at all.
    """

    solutions: Solutions
    rows: Mapping[int, int]
    plain: list[list[bool]]


def board_of(solutions: Solutions) -> Board:
    """Return the board of a run: one look at whole arrays in place of one at each control sample."""
    rows = {position.number: row for row, position in enumerate(solutions.run.positions)}
    disturbed = [column for column in solutions.lines if solutions.interferences.of(column)]
    plain = np.isfinite(solutions.concentration) & ~solutions.run.saturated & ~solutions.drifting.uncertain
    plain[:, disturbed] = False
    return Board(solutions, rows, plain.tolist())


@dataclass(frozen=True)
class Place:
    """A control sample at a line."""

    board: Board
    row: int
    column: int

    @property
    def solutions(self) -> Solutions:
        """What was found in the run."""
        return self.board.solutions

    @property
    def position(self) -> Position:
        """The position."""
        return self.solutions.run.positions[self.row]

    @property
    def line(self) -> LineSpecification:
        """The line."""
        return self.solutions.lines[self.column]

    @property
    def method(self) -> MethodSpecification:
        """The method."""
        return self.solutions.method

    @property
    def concentration(self) -> float:
        """In the measured solution, after corrections, solution unit."""
        return float(self.solutions.concentration[self.row, self.column])

    @property
    def quantification_limit(self) -> float:
        """The quantification limit that holds there, solution unit."""
        return self.solutions.quantification_limit(self.row, self.column)

    @property
    def determination(self) -> Determination:
        """What is reported of the element; the element itself as content where the method reports none of it."""
        for determination in self.method.determinations:
            if determination.element == self.line.element:
                return determination
        content_unit = "mg/kg"
        if self.position.portion is not None and self.position.portion.kind is SolutionKind.VOLUME_IN_VOLUME:
            content_unit = "mg/L"
        return Determination(self.line.element, self.line.element, content_unit)

    def parent(self) -> "Place | None":
        """Return the position that this one repeats, spikes or dilutes, at the same line."""
        number = self.position.parent
        row = None if number is None else self.board.rows.get(number)
        return None if row is None else Place(self.board, row, self.column)

    def why_no_concentration(self) -> str | None:
        """Return why there is no concentration; None where there is one, over range or not."""
        if self.board.plain[self.row][self.column]:
            return None
        return self.solutions.why_no_concentration(self.row, self.column)

    def why_not(self) -> str | None:
        """Return why there is no number to judge; None where there is one. Over range counts: it is not measured."""
        reason = self.why_no_concentration()
        if reason is None and self.solutions.is_over_range(self.row, self.column):
            return f"{self.line.key} reads {figures(self.read)} {self.method.solution_unit}, over the working range."
        return reason

    @property
    def read(self) -> float:
        """Through the curve, before corrections, solution unit."""
        return float(self.solutions.read[self.row, self.column])

    @property
    def found(self) -> float | None:
        """The concentration that goes on record beside the verdict; None where there is none, and under rules 1."""
        return self.concentration if self.method.rules > 1 and isfinite(self.concentration) else None

    @property
    def is_saturated(self) -> bool:
        """Whether the instrument itself said over range."""
        return bool(self.solutions.run.saturated[self.row, self.column])
