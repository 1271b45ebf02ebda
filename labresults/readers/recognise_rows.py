"""Which row of a file holds the headings, what stands around it, and how the rows below belong together."""

import re
from collections import Counter
from collections.abc import Sequence

from labresults.readers.heading_words import is_unit, line_heading, word_meaning
from labresults.readers.layout import Blocks
from labresults.readers.recognised import NO, OF_A_LINE, YES, Above, Column, Meaning, Seen
from labresults.readers.table import CellValue, Headings, RawRow, RawTable, as_text

_SEARCHED, _CANDIDATES = 60, 5
_NUMBER = re.compile(r"[+-\u2212]?[0-9][0-9.,' \u00a0\u202f\u2019]*(?:[eE][+-]?[0-9]+)?")
_OVER_RANGE = ("saturated", "over", "over range", "overrange", "overflow", "too high", "o/r")
_SIGNALS = {Meaning.REPLICATE, Meaning.MEAN, Meaning.LINE_READING, Meaning.LINE_MEAN}
_CONCENTRATIONS = {Meaning.CONCENTRATION, Meaning.LINE_CONCENTRATION}
_READINGS = OF_A_LINE | {Meaning.REPLICATE, Meaning.MEAN, Meaning.SD, Meaning.CONCENTRATION}


def is_number(cell: CellValue) -> bool:
    """Whether a cell holds a number, however its signs are meant."""
    return isinstance(cell, int | float) or (isinstance(cell, str) and bool(_NUMBER.fullmatch(cell.strip())))


def heading_candidates(table: RawTable) -> list[int]:
    """Return the rows that may hold the headings, the likeliest first: at least one.

    Headings are words, several, different ones, with a row as wide and with numbers below; known words count most.
    """
    scored = [(score, -row.number) for row in table.rows[:_SEARCHED] if (score := _score(table, row)) > 0]
    best = [-number for _, number in sorted(scored, reverse=True)[:_CANDIDATES]]
    return best or [next(row.number for row in table.rows if not row.is_blank)]


def _score(table: RawTable, row: RawRow) -> float:
    texts = [as_text(cell).strip() for cell in row.cells if as_text(cell).strip()]
    if len(texts) < 2:
        return 0.0
    known = sum(bool(word_meaning(text) or line_heading(text)) for text in texts)
    known -= sum(bool(_NUMBER.fullmatch(text)) for text in texts)
    below = [other for other in table.rows[row.number : row.number + 4] if not other.is_blank]
    numbers = any(any(is_number(cell) for cell in other.cells) and len(other.cells) >= len(texts) for other in below)
    return (
        known + 0.2 * (len(set(texts)) == len(texts)) + 0.5 * numbers + 0.01 * len(texts)
        if numbers or known > 0
        else 0.0
    )


def units_stand_below(table: RawTable, heading_row: int) -> bool:
    """Whether the row below the headings holds units: some of its cells are units, and none a number."""
    if len(table.rows) <= heading_row:
        return False
    cells = [cell for cell in table.rows[heading_row].cells if as_text(cell).strip()]
    bare = [as_text(cell).strip().strip("()[]") for cell in cells]
    return any(map(is_unit, bare)) and not any(map(is_number, cells))


def rows_below(table: RawTable, heading_row: int, has_units: bool) -> list[RawRow]:
    """Return the rows of the table that are as wide as its headings; headings that come again are left out."""
    headings = Headings.of(table.rows[heading_row - 1]).texts
    rows = table.rows[heading_row + has_units :]
    wanted = len(headings)
    return [
        RawRow(row.number, row.cells[:wanted] + ("",) * (wanted - len(row.cells)))
        for row in rows
        if not row.is_blank and Headings.of(row).texts != headings and (len(row.cells) >= wanted or not table.delimiter)
    ]


def about_rows(
    table: RawTable, heading_row: int, columns: Sequence[Column], above: Sequence[Above], below: Sequence[RawRow]
) -> dict[str, Seen]:
    """Return what the rows seem to be: replicates of each other, blocks; and the words in place of numbers."""
    meant = {column.offers[0]: at for at, column in reversed(list(enumerate(columns)))}
    places = [at for kind in (Meaning.POSITION, Meaning.LABEL) if (at := meant.get(kind)) is not None]
    lines = [at for kind in (Meaning.LINE, Meaning.ELEMENT, Meaning.WAVELENGTH) if (at := meant.get(kind)) is not None]
    keys = [tuple(as_text(row.cells[at]) for at in (*places, *lines)) for row in below]
    headings = Headings.of(table.rows[heading_row - 1]).texts
    again = [row.number for row in table.rows[heading_row:] if Headings.of(row).texts == headings]
    found = {"blocks": _blocks(again, above, keys)}
    repeated = bool(places) and len(set(keys)) < len(keys) and found["blocks"].value != Blocks.REPLICATE
    evidence = "a position and line comes again" if repeated else "no position and line comes again"
    found["repeated_rows"] = Seen(YES if repeated else NO, evidence, sure=not repeated)
    lone = not places and not any(line.offers[0] in (Meaning.POSITION, Meaning.LABEL) for line in above)
    found["position_from_order"] = Seen(YES if lone else NO, "no column says the position" if lone else "", not lone)
    return found | _words(columns, below) | _units(columns)


def _units(columns: Sequence[Column]) -> dict[str, Seen]:
    """The units of the readings and of the instrument's concentrations, where their columns say them."""
    found = {}
    for key, meanings in (("unit", _SIGNALS), ("concentration_unit", _CONCENTRATIONS)):
        units = dict.fromkeys(column.unit for column in columns if column.offers[0] in meanings and column.unit)
        found[key] = Seen(next(iter(units), ""), "as its columns say" if units else "", sure=len(units) == 1)
    return found


def _blocks(again: Sequence[int], above: Sequence[Above], keys: Sequence[tuple[str, ...]]) -> Seen:
    if not again:
        return Seen(str(Blocks.ONE), "the headings stand once")
    evidence = f"the headings come again in row {again[0]}"
    if any(line.offers[0] in (Meaning.POSITION, Meaning.LABEL) for line in above):
        return Seen(str(Blocks.POSITION), f"{evidence}, and a line above says the position", sure=False)
    counted = set(Counter(keys).values())
    if counted == {len(again) + 1}:
        return Seen(str(Blocks.REPLICATE), f"{evidence}, and every position with them", sure=False)
    return Seen(str(Blocks.MORE), evidence, sure=False)


def _words(columns: Sequence[Column], below: Sequence[RawRow]) -> dict[str, Seen]:
    """The words that stand in place of numbers in the columns of readings."""
    words: Counter[str] = Counter()
    empty = False
    for at, column in enumerate(columns):
        cells = [row.cells[at] for row in below]
        if column.offers[0] not in _READINGS or not any(map(is_number, cells)):
            continue
        texts = [as_text(cell).strip() for cell in cells if not is_number(cell)]
        empty = empty or "" in texts
        words.update(text for text in texts if text)
    over = [word for word in words if word.casefold() in _OVER_RANGE]
    missing = [word for word in words if word not in over]
    return {
        "empty_is_missing": Seen(YES if empty or not words else NO, "empty cells are there" if empty else ""),
        "missing": Seen("\n".join(missing[:20]), "they stand among numbers" if missing else "", sure=not missing),
        "over_range": Seen("\n".join(over[:20]), "they stand among numbers" if over else "", sure=not over),
    }
