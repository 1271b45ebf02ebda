"""Where a position stands in the tray at the instrument: rack and cup from a shape in rows and columns.

Cups count from 1 within a rack, along the rows or down the columns; standards, checks and test solutions share the tray
in the order of the run list (common practice, no source).
"""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Tray:
    """Racks of `rows` × `columns` places each; `by_column`: cups count down the columns, not along the rows."""

    racks: int
    rows: int
    columns: int
    by_column: bool = False

    @property
    def cups(self) -> int:
        """Places of one rack."""
        return self.rows * self.columns

    @property
    def places(self) -> int:
        """Places of the whole tray."""
        return self.racks * self.cups

    def in_words(self) -> str:
        """The shape, as a page says it."""
        racks = "1 rack" if self.racks == 1 else f"{self.racks} racks"
        way = "down the columns" if self.by_column else "along the rows"
        return f"{racks} of {self.rows} rows × {self.columns} places, counted {way}: {self.places} places"


def place_in(tray: Tray, number: int) -> tuple[int, int] | None:
    """Return rack and cup of the position `number` (from 1), or None where the tray holds no more.

    Raises ValueError for a number below 1.
    """
    if number < 1:
        raise ValueError(f"Positions count from 1, not from {number}.")
    if number > tray.places:
        return None
    rack, place = divmod(number - 1, tray.cups)
    return rack + 1, place + 1


def at_row_and_column(tray: Tray, cup: int) -> tuple[int, int]:
    """Return row and column (from 1) at which a cup stands in its rack. Raises ValueError for one that is not there."""
    if not 1 <= cup <= tray.cups:
        raise ValueError(f"There is no cup {cup} in a rack of {tray.cups}.")
    if tray.by_column:
        column, row = divmod(cup - 1, tray.rows)
    else:
        row, column = divmod(cup - 1, tray.columns)
    return row + 1, column + 1


def grid(tray: Tray, labels: Sequence[str]) -> list[list[list[str]]]:
    """Return the tray as seen from above: by rack, row and column the label that stands there, "" where none does.

    labels: in the order of the run list; those for which there is no place are left out.
    """
    seen = [[[""] * tray.columns for _ in range(tray.rows)] for _ in range(tray.racks)]
    for number, label in enumerate(labels[: tray.places], start=1):
        rack, cup = divmod(number - 1, tray.cups)
        row, column = at_row_and_column(tray, cup + 1)
        seen[rack][row - 1][column - 1] = label
    return seen
