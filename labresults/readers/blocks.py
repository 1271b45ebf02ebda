"""Where the table of a file begins and ends, and where it begins again: its blocks, each with what stands above it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from labresults.readers.layout import Blocks, Layout
from labresults.readers.problem import Problem
from labresults.readers.table import CellValue, Headings, RawRow, RawTable, as_text


@dataclass
class Block:
    """One table: its headings, the cells of its row of units, its rows, and (row, text) of what is said above it.

    Every row has as many cells as there are headings. above: by the words of `layout.SAID_ABOVE`.
    """

    headings: Headings
    above: Mapping[str, tuple[int, str]]
    units: tuple[str, ...] = ()
    rows: list[RawRow] = field(default_factory=list)

    @cached_property
    def columns(self) -> list[tuple[CellValue, ...]]:
        """The cells of each column; asked for when all rows are there."""
        return list(zip(*(row.cells for row in self.rows), strict=True))


@dataclass
class Parted:
    """The blocks of a file, a problem for each row that has no place in one, and the struck rows that were there."""

    blocks: list[Block] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    left_out: set[int] = field(default_factory=set)


def part(table: RawTable, layout: Layout, struck: frozenset[int] = frozenset()) -> Parted:
    """Return the blocks of a file. Rows that are struck are left out, whatever they hold.

    Rows above the first headings are left out, but for those that `layout.above` names. Between two blocks, rows that
    do not have the cells of the table are titles; below the last one they are problems.
    """
    start = find_heading_row(table, layout)
    if isinstance(start, Problem):
        return Parted(problems=[start])
    reader = _Reader(table, layout, struck)
    for row in table.rows[: start - 1]:
        reader.take_above(row)
    reader.begin(table.rows[start - 1])
    reader.read(table.rows[start:])
    return reader.found


def find_heading_row(table: RawTable, layout: Layout) -> int | Problem:
    """Return the number of the first row of headings, or why there is none."""
    wanted = layout.headings()
    if layout.heading_row:
        if len(table.rows) >= layout.heading_row and not table.rows[layout.heading_row - 1].is_blank:
            return layout.heading_row
        remedy = "Correct the number of the heading row in the layout."
        what = "the heading row is not there or is blank."
        return Problem(layout.heading_row, None, what, remedy, expected=", ".join(wanted))
    for row in table.rows:
        if Headings.of(row).has_all(wanted):
            return row.number
    remedy = "Correct the headings in the layout, or choose the layout of this file."
    return Problem(None, None, "no row has all the headings of the layout.", remedy, expected=", ".join(wanted))


class _Reader:
    """Goes through the rows once, and puts each where it belongs."""

    def __init__(self, table: RawTable, layout: Layout, struck: frozenset[int]) -> None:
        self._layout, self._struck = layout, struck
        self._delimiter = table.delimiter
        self._words = {word.strip().casefold(): meaning for word, meaning in layout.above}
        self._repeats = layout.blocks is not Blocks.ONE
        self._said: dict[str, tuple[int, str]] = {}
        self._titles: list[RawRow] = []
        self._ended = self._units_due = False
        self.found = Parted()

    def begin(self, row: RawRow) -> None:
        """Begin a block with the headings in `row`; what was said of one place is not said of the next."""
        headings = Headings.of(row)
        self.found.blocks.append(Block(headings, self._said))
        self._width = len(headings.texts)
        self._said = {said: where for said, where in self._said.items() if said in ("unit", "line")}
        self._titles, self._ended, self._units_due = [], False, self._layout.units_row

    def read(self, rows: tuple[RawRow, ...]) -> None:
        """Put every row below the first headings where it belongs."""
        struck, end = self._struck, self._layout.end_word
        special = bool(struck) or bool(end) or self._repeats
        if not special and not self._units_due and _are_regular(rows, self._width):
            self.found.blocks[-1].rows += rows
            return
        for row in rows:
            cells = row.cells
            if self._units_due:
                self.found.blocks[-1].units = tuple(as_text(cell) for cell in cells)
                self._units_due = False
            elif not special and len(cells) == self._width and not row.is_blank:
                self.found.blocks[-1].rows.append(row)
            elif end and cells and as_text(cells[0]).strip().startswith(end):
                break
            else:
                self._put(row)
        self.found.problems += map(_after_end, self._titles)

    def take_above(self, row: RawRow) -> bool:
        """Take what a line such as "Position: 12" says, in one cell or in two; return whether it says something."""
        texts = [as_text(cell) for cell in row.cells]
        while texts and not texts[-1].strip():
            texts.pop()
        if not texts or not self._words:
            return False
        line = (self._delimiter if len(self._delimiter) == 1 else " ").join(texts).strip()
        for word, meaning in self._words.items():
            if texts[0].casefold().strip(" :=") == word and len(texts) > 1:
                self._said[meaning] = (row.number, line[len(texts[0].lstrip()) + 1 :].strip())
                return True
            rest = line[len(word) :].lstrip()
            if line.casefold().startswith(word) and rest[:1] in (":", "="):
                self._said[meaning] = (row.number, rest[1:].strip())
                return True
        return False

    def _put(self, row: RawRow) -> None:
        if row.is_blank:
            self._ended = True
        elif row.number in self._struck:
            self.found.left_out.add(row.number)
        elif self._repeats and self._begins_again(row):
            self.begin(row)
        elif self._repeats and self.take_above(row):
            self._ended = True
        elif trouble := _wrong_fields(row, self._width, is_text=bool(self._delimiter)):
            if self._ended and self._repeats:
                self._titles.append(row)
            else:
                self.found.problems.append(_after_end(row) if self._ended else trouble)
        else:
            self.found.blocks[-1].rows.append(RawRow(row.number, _padded(row.cells, self._width)))

    def _begins_again(self, row: RawRow) -> bool:
        first = self.found.blocks[0].headings.texts
        if as_text(row.cells[0]).strip() not in first:
            return False
        headings = Headings.of(row)
        wanted = self._layout.headings()
        return headings.texts == first or (bool(wanted) and headings.has_all(wanted))


def _are_regular(rows: tuple[RawRow, ...], width: int) -> bool:
    """Whether every row is a text row of the table, seen at once."""
    if {len(cells) for _, cells in rows} != {width}:
        return False
    first = [cells[0] for _, cells in rows]
    return set(map(type, first)) == {str} and all(map(str.strip, first))  # type: ignore[arg-type]


def _wrong_fields(row: RawRow, wanted: int, is_text: bool) -> Problem | None:
    filled = len(row.cells)
    while filled > wanted and not as_text(row.cells[filled - 1]).strip():
        filled -= 1
    if filled == wanted or (filled < wanted and not is_text):
        return None
    what = f"the row has {filled} fields, the headings are {wanted}."
    remedy = "Look for a delimiter too many or too few, or a decimal comma; or for the end of a file that was cut off."
    return Problem(row.number, None, what, remedy, f"{filled} fields", f"{wanted} fields")


def _after_end(row: RawRow) -> Problem:
    shown = as_text(row.cells[0]).strip()[:40]
    return Problem(
        row.number,
        None,
        f"after the end of the table stands “{shown}”.",
        "Take it out, or give its first word in the layout as the word that ends the table.",
        found=shown,
        expected="a row of the table",
    )


def _padded(cells: tuple[CellValue, ...], wanted: int) -> tuple[CellValue, ...]:
    return cells[:wanted] + ("",) * (wanted - len(cells))
