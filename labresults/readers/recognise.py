"""How a file of readings seems to be written, with the evidence: offered to whoever makes its layout."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from labresults.readers.delimited import decode, rows_of
from labresults.readers.fixed_width import cut_rows
from labresults.readers.layout import FIXED
from labresults.readers.limits import MOST_ROWS
from labresults.readers.problem import Problem
from labresults.readers.read import unreadable
from labresults.readers.recognise_columns import columns_of, lines_above
from labresults.readers.recognise_rows import about_rows, heading_candidates, rows_below, units_stand_below
from labresults.readers.recognise_text import SEARCHED, fixed_starts, seen_decimals, seen_delimiter, seen_encoding
from labresults.readers.recognised import DELIMITERS_BY_WORD, NO, YES, Recognised, Seen
from labresults.readers.table import RawRow, RawTable, as_text
from labresults.readers.workbook import SIGNATURE, read_sheet, sheet_names

_SHOWN_ROWS = 20
_MOST_CELLS = 24_000
"""Looked at, so that words which stand late in a file are seen, and a wide one is still quick."""


def recognise(content: bytes, filename: str, said: Mapping[str, str] | None = None) -> Recognised:
    """Return what the file seems to be. No file makes this fail: what cannot be read is among its problems.

    said: what a person has decided already, by the keys of `layout_form.SETTINGS` (encoding, delimiter, sheet,
    heading_row, units_row, decimal_sign ...); the rest is looked for with these. An empty answer is not said.
    """
    said = {key: answer for key, answer in (said or {}).items() if answer}
    trouble = unreadable(content, filename)
    if trouble:
        return Recognised(filename, {}, (), (), (), (), (), (), (trouble,))
    settings, table, sheets = (_workbook if content.startswith(SIGNATURE) else _text)(content, said)
    if not any(not row.is_blank for row in table.rows):
        nothing = Problem(None, None, f"{filename} has no rows.", "Choose another sheet, or another file.")
        return Recognised(filename, settings, (), (), (), sheets, (), (), table.problems or (nothing,))
    return _recognised(filename, settings, table, sheets, said)


def _workbook(content: bytes, said: Mapping[str, str]) -> tuple[dict[str, Seen], RawTable, tuple[str, ...]]:
    sheets = sheet_names(content)
    sheet = said.get("sheet") or (sheets[0] if sheets else "")
    table = read_sheet(content, sheet, MOST_ROWS)  # merged cells are said when the file is read, not here
    settings = {"sheet": Seen(sheet, f"one of {len(sheets)} sheets", sure=len(sheets) == 1 or "sheet" in said)}
    return settings, _start_of(table), sheets


def _text(content: bytes, said: Mapping[str, str]) -> tuple[dict[str, Seen], RawTable, tuple[str, ...]]:
    settings = {"encoding": _said_or(said, "encoding", lambda: seen_encoding(content))}
    decoded = decode(content, settings["encoding"].value)
    if isinstance(decoded, Problem):
        return settings, RawTable((), (decoded,)), ()
    text = decoded[0]
    settings["delimiter"] = _said_or(said, "delimiter", lambda: seen_delimiter(text))
    delimiter = DELIMITERS_BY_WORD.get(settings["delimiter"].value, ",")
    if delimiter == FIXED:
        found = Seen(" ".join(map(str, fixed_starts(text))), "behind what is blank in every line", sure=False)
        settings["column_starts"] = _said_or(said, "column_starts", lambda: found)
        rows, problems = cut_rows(text, numbers_in(settings["column_starts"].value) or (1,))
        return settings, _start_of(RawTable(rows, problems, delimiter=FIXED)), ()
    rows, problems = rows_of(text, delimiter, _MOST_CELLS)
    return settings, _start_of(RawTable(rows, problems, delimiter=delimiter)), ()


def _start_of(table: RawTable) -> RawTable:
    widest = max((len(row.cells) for row in table.rows[:SEARCHED]), default=1)
    return replace(table, rows=table.rows[: max(SEARCHED, _MOST_CELLS // max(widest, 1))])


def numbers_in(text: str) -> tuple[int, ...]:
    """Return the whole numbers from 1 on in a text such as "1 11 21", each once and rising."""
    return tuple(sorted({number for word in re.findall(r"[0-9]{1,5}", text) if (number := int(word)) > 0}))


def _recognised(
    filename: str, settings: dict[str, Seen], table: RawTable, sheets: tuple[str, ...], said: Mapping[str, str]
) -> Recognised:
    candidates = heading_candidates(table)
    first = Seen(str(candidates[0]), "its cells are words, and numbers stand below", sure=len(candidates) == 1)
    settings["heading_row"] = _said_or(said, "heading_row", lambda: first)
    asked = numbers_in(settings["heading_row"].value)
    row = asked[0] if asked and asked[0] <= len(table.rows) else candidates[0]
    units = units_stand_below(table, row)
    evidence = "units stand below the headings" if units else "no units stand below the headings"
    settings["units_row"] = _said_or(said, "units_row", lambda: Seen(YES if units else NO, evidence))
    has_units = settings["units_row"].value == YES
    below = rows_below(table, row, has_units)
    decimal, thousands, doubt = seen_decimals(_texts_in(below), table.delimiter)
    settings["decimal_sign"] = _said_or(said, "decimal_sign", lambda: decimal)
    settings["thousands_sign"] = _said_or(said, "thousands_sign", lambda: thousands)
    columns = columns_of(table, row, has_units, below)
    above = lines_above(table, row)
    for key, seen in about_rows(table, row, columns, above, below).items():
        settings[key] = _said_or(said, key, lambda seen=seen: seen)  # type: ignore[misc]
    return Recognised(
        filename=filename,
        settings=settings,
        headings=tuple((at, _shown(table.rows[at - 1])) for at in dict.fromkeys([row, *candidates])),
        columns=columns,
        above=above,
        sheets=sheets,
        first_rows=tuple((each.number, _shown(each)) for each in table.rows[: max(_SHOWN_ROWS, row + 5)]),
        doubts=(doubt,) if doubt and "decimal_sign" not in said else (),
        problems=table.problems,
    )


def _said_or(said: Mapping[str, str], key: str, look: Callable[[], Seen]) -> Seen:
    return Seen(said[key], "as was said") if key in said else look()


def _texts_in(rows: Sequence[RawRow]) -> list[str]:
    return [cell for row in rows for cell in row.cells if isinstance(cell, str)]


def _shown(row: RawRow) -> tuple[str, ...]:
    return tuple(as_text(cell) for cell in row.cells)
