"""A table that a person typed or pasted. Every cell is kept to the letter: nothing is trimmed or re-spaced."""

from collections.abc import Iterator
from dataclasses import dataclass

from labresults.readers.problem import Problem

_QUOTE = '"'


@dataclass(frozen=True)
class PastedRow:
    """One row, as many cells as there are headings. `number` counts from 1, the heading row included."""

    number: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class PastedTable:
    """headings: without spaces at their ends; rows: blank ones left out; problems: rows that have too many cells."""

    headings: tuple[str, ...]
    rows: tuple[PastedRow, ...]
    problems: tuple[Problem, ...] = ()
    delimiter: str = ""

    def column(self, heading: str) -> int | None:
        """Return the place of a heading, whatever its case, or None."""
        wanted = heading.casefold()
        return next((index for index, text in enumerate(self.headings) if text.casefold() == wanted), None)


def paste(text: str) -> PastedTable:
    """Return the table in `text`: its first row that is not blank holds the headings.

    Cells are parted by tabs where there is one, as spreadsheets copy them; else by semicolons or commas, whichever
    the heading row has more of. Only line ends are left out. A cell in quotation marks is taken out of them, its
    doubled marks made single, where that is how the table was written: always between commas or semicolons, and
    between tabs only round a tab, a line end or doubled marks, since a spreadsheet sets no others.
    """
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    delimiter = _delimiter(text)
    rows = [
        PastedRow(number, cells)
        for number, cells in enumerate(cells_of(text, delimiter), start=1)
        if any(map(str.strip, cells))
    ]
    if not rows:
        return PastedTable((), (), (Problem(None, None, "nothing was pasted.", "Copy the table with its headings."),))
    headings = [cell.strip() for cell in rows[0].cells]
    while headings and not headings[-1]:
        headings.pop()
    wrong = tuple(_too_long(row, len(headings)) for row in rows[1:] if any(map(str.strip, row.cells[len(headings) :])))
    whole = tuple(PastedRow(row.number, _fitted(row.cells, len(headings))) for row in rows[1:])
    return PastedTable(tuple(headings), whole, wrong + _repeated(rows[0].number, headings), delimiter)


def _delimiter(text: str) -> str:
    if "\t" in text:
        return "\t"
    first = next((line for line in text.split("\n") if line.strip()), "")
    return max(",;", key=first.count)


def cells_of(text: str, delimiter: str) -> Iterator[tuple[str, ...]]:
    """Yield the cells of each row, blank rows too; a quotation mark that nothing closes is a letter like others.

    Lines end with a line feed. delimiter: "" where every line is one cell.
    """
    cells: list[str] = []
    at = 0
    while at <= len(text):
        cell, at = _cell(text, at, delimiter)
        cells.append(cell)
        if at >= len(text) or text[at] == "\n":
            yield tuple(cells)
            cells = []
        at += 1


def _cell(text: str, at: int, delimiter: str) -> tuple[str, int]:
    """Return the cell that begins at `at`, and the place of the delimiter or line end after it."""
    quoted = _quoted(text, at, delimiter) if text.startswith(_QUOTE, at) else None
    if quoted is not None:
        return quoted
    ends = [place for sign in (delimiter, "\n") if sign and (place := text.find(sign, at)) >= 0]
    end = min(ends, default=len(text))
    return text[at:end], end


def _quoted(text: str, at: int, delimiter: str) -> tuple[str, int] | None:
    """Return the cell inside quotation marks, or None where they are part of what was written."""
    end = at + 1
    while (end := text.find(_QUOTE, end)) >= 0 and text.startswith(_QUOTE * 2, end):
        end += 2
    if end < 0 or text[end + 1 : end + 2] not in ("", "\n", delimiter):
        return None
    inside = text[at + 1 : end]
    if delimiter == "\t" and not any(sign in inside for sign in ("\t", "\n", _QUOTE * 2)):
        return None
    return inside.replace(_QUOTE * 2, _QUOTE), end + 1


def _fitted(cells: tuple[str, ...], wanted: int) -> tuple[str, ...]:
    return cells[:wanted] + ("",) * (wanted - len(cells))


def _too_long(row: PastedRow, wanted: int) -> Problem:
    what = f"the row has {len(row.cells)} cells, the headings are {wanted}."
    return Problem(row.number, None, what, "Give every column a heading, or look for a delimiter too many.")


def _repeated(row: int, headings: list[str]) -> tuple[Problem, ...]:
    known = [heading.casefold() for heading in headings]
    return tuple(
        Problem(row, heading, "the heading stands over more than one column.", "Give each column a heading of its own.")
        for index, heading in enumerate(headings)
        if heading and heading.casefold() in known[:index]
    )
