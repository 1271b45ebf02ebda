"""The grid of a delivery: its rows as they were sent, and the part of it that a page shows."""

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.http import QueryDict

from labresults.acts import BadInput

Row = dict[str, str]

_OWN = "own_"


@dataclass(frozen=True)
class Column:
    """A column of the grid. label: as problems name it; said: to those who hear the page; words: the list it offers."""

    name: str
    label: str
    heading: str
    said: str
    unit: str = ""
    css: str = ""
    words: str = ""

    @property
    def field(self) -> str:
        """The name of its fields; what the whole delivery has too is told apart."""
        return f"{_OWN}{self.name}" if self.name in {"methods", "basis", "hazards"} else self.name

    @property
    def is_number(self) -> bool:
        """Whether its cells hold numbers, which stand at the right."""
        return bool(self.unit)


COLUMNS = (
    Column("client_identification", "client's own identification", "Client's own identification",
           "Client's own identification", css="w-id"),
    Column("matrix", "matrix", "Matrix", "Matrix", css="w-mat", words="matrices"),
    Column("delivered_g", "delivered, g", "Delivered", "Mass delivered in grams", "g", "w-num"),
    Column("delivered_mL", "delivered, mL", "Delivered", "Volume delivered in millilitres", "mL", "w-num"),
    Column("sampled", "sampled", "Sampled", "Sampled, day and time", css="w-day"),
    Column("note", "note", "Note on arrival", "Note", css="w-note"),
    Column("methods", "methods", "Methods of its own", "Methods of its own", css="w-met", words="methods"),
    Column("basis", "basis", "Reported on", "Reported on", css="w-met", words="bases"),
    Column("limits", "limits", "Limits", "Limits to compare with", css="w-met", words="limits"),
    Column("density", "density, kg/L", "Density", "Density in kilograms per litre", "kg/L", "w-num"),
    Column("hazards", "hazards", "Hazards", "Hazards", css="w-met", words="hazards"),
    Column("field_filtered", "field filtered", "Field filtered", "Filtered in the field", css="w-day", words="yes-no"),
    Column("preservation", "preservation", "Preservation", "Preservation", css="w-met"),
)  # fmt: skip

ALWAYS = ("client_identification", "matrix", "delivered_g", "delivered_mL", "sampled", "note", "methods")
FOR_WATERS = ("field_filtered", "preservation")
ON_CHOICE = tuple(column for column in COLUMNS if column.name not in ALWAYS)
"""Columns that are shown when they are chosen, hold something, or matter for a matrix of the rows."""

WINDOW = 200
"""Rows that a page shows at once; up to half as many more are shown without a second page."""

MOST_LISTED = 20


def rows_sent(posted: QueryDict) -> list[Row]:
    """The rows as they were sent, blank and struck ones left out.

    All rows stand in the one field `rows`, as JSON; what stands in the fields of the rows shown is newer. Without
    `rows` the fields are all there is.
    """
    rows = _packed(posted.get("rows", ""))
    columns = [column for column in COLUMNS if column.field in posted]
    shown = [posted.getlist(column.field) for column in columns]
    count = max(map(len, shown), default=0)
    numbers = [int(number) for number in posted.getlist("row") if number.isdecimal()]
    for place in range(count):
        number = numbers[place] if len(numbers) == count else place + 1
        rows.setdefault(number, {}).update(
            {column.name: cells[place] for column, cells in zip(columns, shown, strict=True) if place < len(cells)}
        )
    struck = {int(number) for number in posted.getlist("strike") if number.isdecimal()}
    whole = [_whole(rows[number]) for number in sorted(set(rows) - struck)]
    return [row for row in whole if any(map(str.strip, row.values()))]


def packed(rows: Sequence[Row]) -> str:
    """Rows as the one field that holds them all: names of the columns that hold something, and the cells."""
    names = [column.name for column in COLUMNS if any(row[column.name] for row in rows)]
    cells = [[row[name] for name in names] for row in rows]
    return json.dumps({"columns": names, "rows": cells}, ensure_ascii=False, separators=(",", ":"))


@dataclass(frozen=True)
class Cell:
    """One field of the grid."""

    column: Column
    text: str
    wrong: bool


@dataclass(frozen=True)
class GridRow:
    """One row as the page shows it, with its number, from 1, and its problems."""

    number: int
    cells: tuple[Cell, ...]
    problems: tuple[Any, ...]


@dataclass(frozen=True)
class Window:
    """A part of the grid that can be shown: the word for it, and the value that asks for it."""

    value: str
    words: str
    current: bool


class Grid:
    """All rows of a delivery, and the part of them that is shown."""

    def __init__(
        self,
        rows: Sequence[Row],
        problems: Iterable[Any] = (),
        *,
        chosen: Collection[str] = (),
        waters: bool = False,
        show: str = "",
        blank: int = 0,
    ) -> None:
        self.rows = list(rows)
        self.problems = list(problems)
        self.by_row: dict[int, list[Any]] = {}
        for problem in self.problems:
            self.by_row.setdefault(problem.row or 0, []).append(problem)
        self.wrong = sorted(row for row in self.by_row if row)
        self.columns = self._columns(set(chosen) | set(FOR_WATERS if waters else ()))
        self.show = self._show(show)
        self.blank = blank

    @property
    def packed(self) -> str:
        """All rows as one field."""
        return packed(self.rows)

    @property
    def ready(self) -> int:
        """How many rows have no problem."""
        return len(self.rows) - len(self.wrong)

    @property
    def shown(self) -> list[GridRow]:
        """The rows of the part that is shown, and empty ones after the last row of all."""
        numbers = self._numbers()
        if not numbers or numbers[-1] == len(self.rows):
            numbers = [*numbers, *range(len(self.rows) + 1, len(self.rows) + 1 + self.blank)]
        return [self._row(number) for number in numbers]

    @property
    def windows(self) -> list[Window]:
        """The parts, where there is more than one."""
        count = len(self.rows)
        if count <= WINDOW * 3 // 2:
            return []
        starts = range(1, count + 1, WINDOW)
        parts = [
            Window(str(start), f"{start}\N{EN DASH}{min(start + WINDOW - 1, count)}", self.show == str(start))
            for start in starts
        ]
        wrong = [Window("wrong", f"to correct ({len(self.wrong)})", self.show == "wrong")] if self.wrong else []
        return [*wrong, *parts]

    @property
    def listed(self) -> list[tuple[Any, bool]]:
        """The first problems of the rows, and whether the row of each is shown."""
        shown = set(self._numbers())
        rows = [problem for number in self.wrong for problem in self.by_row[number]]
        return [(problem, problem.row in shown) for problem in rows[:MOST_LISTED]]

    @property
    def unlisted(self) -> int:
        """How many problems are not listed."""
        return max(0, sum(len(self.by_row[number]) for number in self.wrong) - MOST_LISTED)

    def _columns(self, chosen: Collection[str]) -> tuple[Column, ...]:
        filled = {name for row in self.rows for name, text in row.items() if text}
        return tuple(column for column in COLUMNS if column.name in {*ALWAYS, *chosen, *filled})

    def _show(self, asked: str) -> str:
        """The part asked for: `wrong`, or the one that holds the row of this number; else what is to be corrected."""
        if asked.isdecimal() and 1 <= int(asked) <= len(self.rows):
            return str((int(asked) - 1) // WINDOW * WINDOW + 1)
        return "wrong" if self.wrong else "1"

    def _numbers(self) -> list[int]:
        count = len(self.rows)
        if count <= WINDOW * 3 // 2:
            return list(range(1, count + 1))
        if self.show == "wrong":
            return self.wrong[:WINDOW]
        start = int(self.show)
        return list(range(start, min(start + WINDOW, count + 1)))

    def _row(self, number: int) -> GridRow:
        row = self.rows[number - 1] if number <= len(self.rows) else {}
        problems = tuple(self.by_row.get(number, ()))
        wrong = {problem.column for problem in problems}
        cells = tuple(Cell(column, row.get(column.name, ""), column.label in wrong) for column in self.columns)
        return GridRow(number, cells, problems)


def _packed(text: str) -> dict[int, Row]:
    """The rows of the one field by number, from 1. Raises BadInput where it is not what `packed` makes."""
    try:
        sent = json.loads(text) if text else {"columns": [], "rows": []}
        names, rows = [str(name).removeprefix(_OWN) for name in sent["columns"]], sent["rows"]
        return {
            number: {name: str(cell) for name, cell in zip(names, cells, strict=False)}
            for number, cells in enumerate(rows, start=1)
        }
    except (ValueError, TypeError, KeyError) as broken:
        raise BadInput("The rows did not arrive whole. Go back, and send the page once more.") from broken


def _whole(row: Mapping[str, str]) -> Row:
    return {column.name: row.get(column.name, "") for column in COLUMNS}
