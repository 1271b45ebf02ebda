"""Columns of cells become columns of numbers. Whole columns are read at once where nothing in them is odd."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from labresults.readers.layout import Layout
from labresults.readers.numbers import PLAIN, Unread, plain_number, read_count
from labresults.readers.problem import Problem
from labresults.readers.table import CellError, CellValue, as_text

_AT_ONCE = 512  # cells: so few that one odd cell slows down little, so many that the rest is quick
_IN_NUMBERS = b"0123456789.+-eE \n"


@dataclass(frozen=True)
class NumberColumn:
    """A column of readings: the texts as received, the numbers (None: missing, over range or not read), and which
    cells say over range."""

    name: str
    texts: list[str]
    values: list[float | None]
    over: frozenset[int]


class CellReader:
    """Reads cells by one layout and keeps what it did not understand."""

    def __init__(self, layout: Layout) -> None:
        self._decimal, self._thousands = layout.decimal_sign, layout.thousands_sign
        self._missing = frozenset(word.strip().casefold() for word in layout.missing)
        self._over_range = frozenset(word.strip().casefold() for word in layout.over_range)
        words = self._missing | self._over_range
        # A word that is a number itself, such as 99999, must be looked for before numbers are read.
        read = [plain_number(word, self._decimal, self._thousands) for word in words]
        self._odd_words = not all(isinstance(number, Unread) for number in read)
        self.problems: list[Problem] = []

    def numbers(
        self, name: str, cells: Sequence[CellValue], rows: Sequence[int], factors: Sequence[Decimal] = ()
    ) -> NumberColumn:
        """Return the numbers of a column; cells that are not understood are among the problems.

        rows: their numbers in the file; factors: what each is multiplied by, exactly, or none.
        """
        values: list[float | None] = []
        over: list[int] = []
        for start in range(0, len(cells), _AT_ONCE):
            some = cells[start : start + _AT_ONCE]
            quick = None if factors or self._odd_words else quick_numbers(some, self._decimal)
            if quick is not None:
                values += quick
                continue
            for index, cell in enumerate(some, start=start):
                factor = factors[index] if factors else Decimal(1)
                values.append(self._number(cell, rows[index], name, factor))
                if values[-1] is None and self._is_over_range(cell):
                    over.append(index)
        return NumberColumn(name, _texts(cells), values, frozenset(over))

    def spreads(
        self, name: str, cells: Sequence[CellValue], rows: Sequence[int], factors: Sequence[Decimal] = ()
    ) -> NumberColumn:
        """Return standard deviations: numbers that are not below zero."""
        column = self.numbers(name, cells, rows, factors)
        for index, sd in enumerate(column.values):
            if sd is not None and sd < 0:
                what = f"a standard deviation of {column.texts[index].strip()} is below zero."
                self._unread(rows[index], name, Unread(what, "Look at the column.", "at least 0"), column.texts[index])
                column.values[index] = None
        return column

    def counts(self, name: str, cells: Sequence[CellValue], rows: Sequence[int], needed: Sequence[bool]) -> list[int]:
        """Return how many replicates there were; 0 where no count is needed or none understood (a problem then)."""
        return [
            self._count(cell, row, name) if need else 0 for cell, row, need in zip(cells, rows, needed, strict=True)
        ]

    def _number(self, cell: CellValue, row: int, name: str, factor: Decimal) -> float | None:
        """Return the number of a cell; None where it is missing, over range, or not understood (a problem then)."""
        if isinstance(cell, CellError):
            self._unread(row, name, error_shown(cell), cell.shown)
            return None
        text = as_text(cell)
        word = text.strip().casefold()
        if word in self._missing or word in self._over_range:
            return None
        if isinstance(cell, int | float):
            number = float(cell)
            if not math.isfinite(number):
                self._unread(row, name, Unread(f"“{text}” is not a number.", "Correct the cell."), text)
                return None
            return number if factor == 1 else float(Decimal(repr(cell)) * factor)
        plain = self._plain(text)
        if isinstance(plain, Unread):
            self._unread(row, name, plain, text)
            return None
        number = float(plain)
        # A number too small for a float is nothing, and its exponent may be too much for a Decimal.
        return number if factor == 1 or not number else float(Decimal(plain) * factor)

    def _plain(self, text: str) -> str | Unread:
        """As `plain_number`, quicker for what is a plain number already."""
        if not self._thousands and not (self._decimal == "," and "." in text):
            bare = text.replace(self._decimal, ".")
            if len(bare) < 200 and PLAIN.fullmatch(bare) and math.isfinite(float(bare)):
                return bare
        return plain_number(text, self._decimal, self._thousands)

    def _is_over_range(self, cell: CellValue) -> bool:
        return as_text(cell).strip().casefold() in self._over_range and not isinstance(cell, CellError)

    def _count(self, cell: CellValue, row: int, name: str) -> int:
        number = read_count(as_text(cell))
        if isinstance(number, int) and number >= 1:
            return number
        what = f"{number} replicates cannot have a mean."
        trouble = number if isinstance(number, Unread) else Unread(what, "Correct it.", "a whole number from 1 on")
        self._unread(row, name, trouble, as_text(cell))
        return 0

    def _unread(self, row: int, column: str, trouble: Unread, found: str) -> None:
        self.problems.append(problem_of(row, column, trouble, found))


def _texts(cells: Sequence[CellValue]) -> list[str]:
    if set(map(type, cells)) == {str}:
        return list(cells)  # type: ignore[arg-type]  # each is a text
    return list(map(as_text, cells))


def quick_numbers(cells: Sequence[CellValue], decimal_sign: str) -> list[float] | None:
    """Return the numbers of cells of which every one is a plain number, or None where one is not.

    What it returns is to the last bit what `numbers.read_number` says of each cell.
    """
    try:
        joined = "\n".join(cells)  # type: ignore[arg-type]  # a cell that is no text raises, and is read by itself
        if decimal_sign == ",":
            if "." in joined:
                return None
            joined = joined.replace(",", ".")
        if joined.encode().translate(None, _IN_NUMBERS):
            return None
        numbers = list(map(float, joined.split("\n")))
    except (TypeError, ValueError):
        return None
    return numbers if len(numbers) == len(cells) and math.isfinite(max(map(abs, numbers))) else None


def error_shown(cell: CellError) -> Unread:
    """Return what is wrong with a cell that a spreadsheet could not compute."""
    return Unread(f"the cell shows {cell.shown}.", "Correct the formula, or put its value there.", "a value")


def problem_of(row: int, column: str | None, trouble: Unread, found: str) -> Problem:
    """Return a problem at its place, with what was found and what was expected."""
    return Problem(row, column, trouble.what, trouble.what_to_do, found[:200], trouble.expected)
