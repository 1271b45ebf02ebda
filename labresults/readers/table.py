"""A file as rows of cells, before anything in it is understood."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import partial
from typing import Any, NamedTuple, TypeVar

from labresults.readers.problem import Problem

Kind = TypeVar("Kind", bound=tuple[Any, ...])


def from_columns(kind: type[Kind], *columns: Iterable[Any]) -> Iterator[Kind]:
    """Yield named tuples made of columns of their fields, every field given; the shortest column ends it.

    As calling the class for each, without the detour through its arguments: files have tens of thousands of rows.
    """
    return map(partial(tuple.__new__, kind), zip(*columns, strict=False))


@dataclass(frozen=True)
class CellError:
    """A cell that a spreadsheet could not compute, with what it shows."""

    shown: str


CellValue = str | int | float | CellError
"""Text as the file has it, a number that a workbook stores as a number, or an error."""


class RawRow(NamedTuple):  # a tuple, since a file has tens of thousands of them
    """`number` counts from 1 as a spreadsheet does."""

    number: int
    cells: tuple[CellValue, ...]

    @property
    def is_blank(self) -> bool:
        """Nothing but spaces."""
        return not any(not isinstance(cell, str) or cell.strip() for cell in self.cells)


@dataclass(frozen=True)
class RawTable:
    """The rows of a file in order, blank ones included."""

    rows: tuple[RawRow, ...]
    problems: tuple[Problem, ...] = ()
    encoding: str = ""
    delimiter: str = ""


def as_text(cell: CellValue) -> str:
    """Return a cell to the letter; numbers of a workbook in full precision."""
    if isinstance(cell, CellError):
        return cell.shown
    return cell if isinstance(cell, str) else repr(cell)


def column_letter(index: int) -> str:
    """Return A for 0, Z for 25, AA for 26, as spreadsheets name their columns."""
    name = ""
    index += 1
    while index:
        index, place = divmod(index - 1, 26)
        name = chr(ord("A") + place) + name
    return name


@dataclass(frozen=True)
class Headings:
    """The heading row of a table."""

    row: int
    texts: tuple[str, ...]

    @classmethod
    def of(cls, row: RawRow) -> "Headings":
        """Take the texts without spaces at their ends, and no empty ones at the end of the row."""
        texts = [as_text(cell).strip() for cell in row.cells]
        while texts and not texts[-1]:
            texts.pop()
        return cls(row.number, tuple(texts))

    def name(self, index: int) -> str:
        """Return how a problem names a column: its heading, its letter, or both where the heading is not alone."""
        heading = self.texts[index] if index < len(self.texts) else ""
        if not heading:
            return column_letter(index)
        return heading if self.texts.count(heading) == 1 else f"{heading} ({column_letter(index)})"

    def all_of(self, heading: str) -> tuple[int, ...]:
        """Return every column with this heading; "Reading {n}" stands for Reading 1, Reading 2, ... in that order.

        "Conc. ({unit})" stands for the heading with any unit in it.
        """
        if "{unit}" in heading:
            before, _, after = heading.partition("{unit}")
            return tuple(at for at, text in enumerate(self.texts) if _between(text, before, after))
        if "{n}" not in heading:
            return tuple(index for index, text in enumerate(self.texts) if text == heading)
        found: list[int] = []
        while (numbered := heading.replace("{n}", str(len(found) + 1))) in self.texts:
            found.append(self.texts.index(numbered))
        return tuple(found)

    def unit_of(self, index: int, wanted: Sequence[str]) -> str:
        """Return the unit in the heading of a column by the one of these that has a {unit}; "" where none does."""
        parts = [heading.partition("{unit}") for heading in wanted if "{unit}" in heading]
        return next((unit for one, _, other in parts if (unit := _between(self.texts[index], one, other))), "")

    def has_all(self, wanted: Sequence[str]) -> bool:
        """Whether every wanted heading is there."""
        return all(self.all_of(heading) for heading in wanted)

    def missing(self, wanted: Sequence[str]) -> tuple[Problem, ...]:
        """Return a problem for each wanted heading that is not there."""
        return tuple(self._missing(heading) for heading in wanted if not self.all_of(heading))

    def repeated(self, wanted: Sequence[str]) -> tuple[Problem, ...]:
        """Return a problem for each wanted heading that stands over more than one column."""
        return tuple(
            Problem(
                self.row,
                heading,
                f"the heading stands over columns {', '.join(column_letter(i) for i in self.all_of(heading))}.",
                "Give each column a heading of its own.",
                found=heading,
                expected="one column",
            )
            for heading in wanted
            if len(self.all_of(heading)) > 1
        )

    def _missing(self, heading: str) -> Problem:
        close = get_close_matches(heading.casefold(), [text.casefold() for text in self.texts if text], n=1)
        near = next((text for text in self.texts if close and text.casefold() == close[0]), None)
        offer = f" The file has “{near}”." if near else ""
        return Problem(
            self.row,
            heading,
            f"there is no column with this heading.{offer}",
            "Correct the heading in the layout, or choose the layout of this file.",
            found=near or ", ".join(text for text in self.texts if text)[:120],
            expected=heading,
        )


def _between(text: str, before: str, after: str) -> str:
    """Return what stands between two texts, or nothing where they are not at its ends."""
    fits = text.startswith(before) and text.endswith(after) and len(text) > len(before) + len(after)
    return text[len(before) : len(text) - len(after)].strip() if fits else ""
