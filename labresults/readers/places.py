"""Where each row of a block stands in the run, when it was read and at which line. Numbers of readings come later."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import MAXYEAR, datetime, timedelta
from typing import TypeVar

from labresults.readers.blocks import Block
from labresults.readers.cells import error_shown, problem_of
from labresults.readers.layout import DAY_FIRST, MONTH_FIRST, Blocks, Layout, Shape
from labresults.readers.moments import read_moment
from labresults.readers.numbers import Unread, read_count
from labresults.readers.problem import Problem
from labresults.readers.table import CellError, CellValue, as_text
from labresults.readers.template import LineNames

T = TypeVar("T")


@dataclass(frozen=True)
class Places:
    """The rows of a block that could be placed, column by column, as many of each as there are rows.

    rows: their numbers in the file; cells: of each column of the table; positions: None where the file has no numbers;
    lines and units: empty where the row does not say; times: ISO 8601
    or empty.
    """

    rows: list[int]
    cells: list[tuple[CellValue, ...]]
    positions: list[int | None]
    labels: list[str]
    times: list[str]
    lines: list[str]
    units: list[str]


def place_rows(block: Block, layout: Layout, count_before: int = 0) -> tuple[Places, list[Problem]]:
    """Return where the rows of a block stand; one whose place cannot be told is left out, with its problem.

    count_before: how many positions were numbered by their order before this block.
    """
    reader = _PlaceReader(block, layout)
    labels: list[str] = reader.column("label", layout.label, _label, "")
    positions: list[int | None] = reader.column("position", layout.position, _position, None)
    times = reader.times()
    units: list[str] = reader.column("unit", layout.unit_column, str.strip, "")
    lines = reader.lines()
    kept = [index for index in range(len(block.rows)) if index not in reader.bad] if reader.bad else None
    if kept is not None:
        labels, positions, times = _only(kept, labels), _only(kept, positions), _only(kept, times)
        units, lines = _only(kept, units), _only(kept, lines)
    if layout.position_from_order:
        positions = [*_numbered(labels, lines, layout, count_before)]
    rows = [row.number for row in (block.rows if kept is None else _only(kept, block.rows))]
    cells = block.columns if kept is None else [tuple(_only(kept, column)) for column in block.columns]
    return Places(rows, cells, positions, labels, times, lines, units), reader.problems


def _only(kept: Sequence[int], items: Sequence[T]) -> list[T]:
    return [items[index] for index in kept]


class _PlaceReader:
    """Reads the columns of a block that say where a row stands; each different cell is understood once."""

    def __init__(self, block: Block, layout: Layout) -> None:
        self._block, self._layout = block, layout
        self.problems: list[Problem] = []
        self.bad: set[int] = set()  # rows whose place cannot be told, from 0

    def column(self, said: str, heading: str, understand: Callable[[str], T | Unread], nothing: T) -> list[T]:
        """Return what a column says of each row, or what a line above says of all; `nothing` where neither does."""
        if not heading:
            return [self._above(said, understand, nothing)] * len(self._block.rows)
        index = self._block.headings.all_of(heading)[0]
        cells = self._cells(index)
        known = {cell: _understood(cell, understand) for cell in set(cells)}
        if not any(isinstance(what, Unread) for what in known.values()):
            return list(map(known.__getitem__, cells))  # type: ignore[arg-type]  # none is Unread
        found: list[T] = []
        for at, cell in enumerate(cells):
            what = known[cell]
            if isinstance(what, Unread):
                self._wrong(at, index, what, cell)
                found.append(nothing)
            else:
                found.append(what)
        return found

    def lines(self) -> list[str]:
        """Return the line of each row of a long table; of a wide one the headings say it."""
        layout = self._layout
        if layout.shape is Shape.WIDE:
            return [""] * len(self._block.rows)
        names = LineNames(
            layout.line_template if layout.line or layout.says_above("line") else "{element} {wavelength}",
            layout.line_names,
        )
        if not layout.element:
            return self.column("line", layout.line, lambda text: _line(text.strip(), names), "")
        one, other = (self._block.headings.all_of(heading)[0] for heading in (layout.element, layout.wavelength))
        pairs = list(zip(self._cells(one), self._cells(other), strict=True))
        known = {pair: _line_of(pair, names) for pair in set(pairs)}
        for at, pair in enumerate(pairs):
            if isinstance(wrong := known[pair], Unread):
                self._wrong(at, one, wrong, " ".join(map(as_text, pair)))
        return [str(known[pair]) for pair in pairs]

    def times(self) -> list[str]:
        """Return when each row was read, ISO 8601; empty where the file does not say.

        A clock that goes back by more than half a day has passed midnight (rows stand as they were read).
        """
        layout = self._layout
        if not (layout.time and layout.says_above("time")):
            return self.column("time", layout.time, lambda text: _time(text, layout.date_order), "")
        day = self._above("time", lambda text: _time(text, layout.date_order), "")[:10]
        if not day:
            return [""] * len(self._block.rows)
        clocks = self.column("time", layout.time, lambda text: _time(text and f"{day} {text}", layout.date_order), "")
        return _over_midnight(clocks)

    def _cells(self, index: int) -> Sequence[str | CellError]:
        cells = self._block.columns[index] if self._block.rows else ()
        if set(map(type, cells)) <= {str}:
            return cells  # type: ignore[return-value]  # each is a text, as was just seen
        return [cell if isinstance(cell, str | CellError) else as_text(cell) for cell in cells]

    def _above(self, said: str, understand: Callable[[str], T | Unread], nothing: T) -> T:
        """What a line above the table says; every row of the block is bad where it should and does not."""
        if not self._layout.says_above(said):
            return nothing
        where, text = self._block.above.get(said, (self._block.headings.row, ""))
        what = understand(text)
        if not isinstance(what, Unread) and text:
            return what
        word = next(word for word, meaning in self._layout.above if meaning == said)
        if not text:
            what = Unread(f"no line above this table says its {said}.", f"Look for the line “{word}”.", word)
        if isinstance(what, Unread):
            self.problems.append(problem_of(where, word, what, text))
        self.bad |= set(range(len(self._block.rows)))
        return nothing

    def _wrong(self, at: int, index: int, trouble: Unread, cell: CellValue) -> None:
        column = self._block.headings.name(index)
        if as_text(cell).strip() == self._block.headings.texts[index]:
            remedy = "Say in the layout what the blocks are, or take the row out."
            trouble = Unread("the headings come again here.", remedy, trouble.expected)
        self.problems.append(problem_of(self._block.rows[at].number, column, trouble, as_text(cell)))
        self.bad.add(at)


def _understood(cell: str | CellError, understand: Callable[[str], T | Unread]) -> T | Unread:
    return error_shown(cell) if isinstance(cell, CellError) else understand(cell)


def _position(text: str) -> int | Unread:
    number = read_count(text)
    if isinstance(number, int) and not 1 <= number < 2**31:
        return Unread(f"there is no position {number}.", "Positions count from 1.", "a whole number from 1 on")
    return number


def _label(text: str) -> str | Unread:
    if text.strip():
        return text
    return Unread("the label is blank.", "Fill it in, or take the row out.", "a label")


def _time(text: str, date_order: str) -> str | Unread:
    if not text.strip():
        return ""
    moment = read_moment(text, {DAY_FIRST: True, MONTH_FIRST: False}.get(date_order))
    return moment if isinstance(moment, Unread) else moment.when.isoformat()


def _over_midnight(times: Sequence[str]) -> list[str]:
    found: list[str] = []
    days = timedelta()
    last: timedelta | None = None
    for text in times:
        moment = datetime.fromisoformat(text) if text else None
        clock = None if moment is None else timedelta(hours=moment.hour, minutes=moment.minute, seconds=moment.second)
        if clock is not None and last is not None and last - clock > timedelta(hours=12):
            days += timedelta(days=1)
        last = last if clock is None else clock
        found.append((moment + days).isoformat() if moment and moment.year < MAXYEAR else text)
    return found


def _line(text: str, names: LineNames) -> str | Unread:
    line = names.line(text)
    if line is not None:
        return line
    what = f"“{text}” does not name a line." if text.strip() else "the line is blank."
    return Unread(what, "Correct it, or say in the layout which line it is.", f"a line as in {names.template}")


def _line_of(pair: tuple[str | CellError, str | CellError], names: LineNames) -> str | Unread:
    shown = next((cell for cell in pair if isinstance(cell, CellError)), None)
    return error_shown(shown) if shown else _line(" ".join(as_text(cell).strip() for cell in pair), names)


def _numbered(labels: Sequence[str], lines: Sequence[str], layout: Layout, count_before: int) -> list[int]:
    """Number positions as they appear.

    A new position begins where the label changes and, unless rows are repeated as replicates, where a new row of a
    wide table begins, or where a line comes again in a long one. A block of one position is one, whatever is in it.
    """
    if layout.blocks is Blocks.POSITION:
        return [count_before + 1] * len(labels)
    numbers: list[int] = []
    number, last, seen = 0 if layout.blocks is Blocks.REPLICATE else count_before, None, set[str]()
    for label, line in zip(labels, lines, strict=True):
        if label != last or (not layout.repeated_rows and line in seen):
            number, last, seen = number + 1, label, set()
        seen.add(line)
        numbers.append(number)
    return numbers
