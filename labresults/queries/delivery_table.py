"""A client's own list on its way into the grid: what its columns are taken for, what is asked, its rows. No query."""

from collections.abc import Mapping
from dataclasses import dataclass

from labresults.readers.delivery import LABELS
from labresults.readers.delivery_headings import UNITS, Meant
from labresults.readers.delivery_table import (
    LEFT_OUT,
    SEPARATORS,
    Choice,
    SourceTable,
    check_choices,
    columns_of,
    day_first_of,
    decimal_sign_of,
    find_heading_row,
    has_undecided_days,
    place,
    read_table,
)
from labresults.readers.problem import Problem

__all__ = ["DAY_ORDERS", "SEPARATORS", "Asked", "Understood", "choices", "understood"]

_ORDERS = {"day first": True, "month first": False}
DAY_ORDERS = tuple(_ORDERS)
_QUANTITIES = {"delivered_g": "mass", "delivered_mL": "volume", "density": "density"}


@dataclass(frozen=True)
class Asked:
    """What a person has said of a table; None or empty: not said yet. columns: a value of `choices` by place."""

    sheet: str = ""
    separator: str = ""
    heading_row: int | None = None
    columns: Mapping[int, str] | None = None
    decimal_sign: str = ""
    day_order: str = ""  # a word of DAY_ORDERS


@dataclass(frozen=True)
class UnderstoodColumn:
    """One column: its place and heading, what it is taken for (a value of `choices`, or ""), its first values."""

    place: int
    name: str
    chosen: str
    values: tuple[str, ...]
    problem: str


@dataclass(frozen=True)
class Signs:
    """How numbers and days of a table are written: said by a person, else found in it; "" where nothing says so."""

    decimal_sign: str
    has_numbers: bool
    day_order: str
    has_undecided_days: bool


@dataclass(frozen=True)
class Understood:
    """A table as far as it is understood. Where `problems` is empty, `rows` are as the grid takes them.

    above: rows over the headings, left out.
    """

    table: SourceTable
    heading_row: int
    above: int
    columns: tuple[UnderstoodColumn, ...] = ()
    signs: Signs | None = None
    problems: tuple[Problem, ...] = ()
    rows: tuple[dict[str, str], ...] = ()

    @property
    def count(self) -> int:
        """How many rows would come into the grid."""
        return sum(row.number > self.heading_row for row in self.table.rows)


def choices() -> list[tuple[str, str]]:
    """What a column can be taken for: value and words; a quantity once for each unit."""
    found = [(LEFT_OUT, LEFT_OUT)]
    for column, label in LABELS.items():
        if column in UNITS:
            found += [(f"{column}|{unit}", f"{_QUANTITIES[column]}, {unit}") for unit in UNITS[column]]
        else:
            found.append((column, label))
    return found


def understood(content: bytes, name: str, asked: Asked) -> Understood:
    """Read a table and take its columns for what was said, or for what their headings say where nothing was."""
    table = read_table(content, name, sheet=asked.sheet, separator=asked.separator)
    if not table.rows:
        return Understood(table, 0, 0, problems=table.problems)
    heading_row = find_heading_row(table) if asked.heading_row is None else asked.heading_row
    columns = columns_of(table, heading_row)
    said = {column.place: _value(column.meant) for column in columns} if asked.columns is None else asked.columns
    taken = {column.place: _choice(said.get(column.place, "")) for column in columns}
    undecided = check_choices(columns, taken)
    by_column = {problem.column: f"{problem.what} {problem.what_to_do}" for problem in undecided if problem.column}
    shown = tuple(
        UnderstoodColumn(c.place, c.name, said.get(c.place, ""), c.values, by_column.get(c.name, "")) for c in columns
    )
    signs = _signs(table, heading_row, taken, asked)
    rows, spoilt = place(
        table, heading_row, taken, decimal_sign=signs.decimal_sign or ".", day_first=_ORDERS.get(signs.day_order)
    )
    above = sum(row.number < heading_row for row in table.rows)
    problems = (*table.problems, *undecided, *_not_said(signs), *spoilt)
    return Understood(table, heading_row, above, shown, signs, problems, rows)


def _signs(table: SourceTable, heading_row: int, taken: Mapping[int, Choice], asked: Asked) -> Signs:
    numbers = [where for where, choice in taken.items() if choice.column in UNITS]
    days = [where for where, choice in taken.items() if choice.column == "sampled"]
    found = day_first_of(table, heading_row, days)
    order = next((words for words, first in _ORDERS.items() if first is found), "")
    return Signs(
        decimal_sign=asked.decimal_sign or decimal_sign_of(table, heading_row, numbers),
        has_numbers=bool(numbers),
        day_order=asked.day_order or order,
        has_undecided_days=has_undecided_days(table, heading_row, days),
    )


def _not_said(signs: Signs) -> tuple[Problem, ...]:
    found = []
    if not signs.decimal_sign:
        what = "the numbers can be read in two ways: 1,234 as a thousand and more, or as one and a part."
        found.append(Problem(None, None, what, "Say which sign is the decimal sign."))
    if signs.has_undecided_days and not signs.day_order:
        what = "the days can be read in two ways, as in 03/11/2026."
        found.append(Problem(None, None, what, "Say whether the day or the month stands first."))
    return tuple(found)


def _value(meant: Meant) -> str:
    if meant.column in UNITS:
        return f"{meant.column}|{meant.unit}" if meant.unit else ""
    return meant.column


def _choice(value: str) -> Choice:
    column, _, unit = value.partition("|")
    return Choice(column, unit)
