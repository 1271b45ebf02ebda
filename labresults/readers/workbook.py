"""Spreadsheet files: bytes to rows of cells. Numbers stay numbers in full precision; what is shown is not read."""

import io
import re
import zipfile
from collections.abc import Iterable, Iterator
from datetime import date, datetime, time
from typing import Any

import openpyxl
from openpyxl.utils.cell import range_boundaries

from labresults.readers.layout import Layout
from labresults.readers.limits import LONGEST_CELL, MOST_COLUMNS, MOST_ROWS, MOST_SHEETS
from labresults.readers.packed import refused
from labresults.readers.problem import Problem
from labresults.readers.table import CellError, CellValue, RawRow, RawTable

SIGNATURE = b"PK\x03\x04"
OLD_SIGNATURE = b"\xd0\xcf\x11\xe0"
_FAR_OFF = re.compile(rb"""\br=["'](?:[A-Za-z]{4,}|[A-Za-z]*[0-9]{8,})""")  # a place that no sheet can have
_FORMULA_OR_ERROR = re.compile(rb"""<(?:\w+:)?f[ />]|\bt=["']e["']""")
_MERGED = re.compile(rb'<(?:\w+:)?mergeCell\s[^>]*?ref="([A-Z]+[0-9]+:[A-Z]+[0-9]+)"')


def read_workbook(content: bytes, layout: Layout) -> RawTable:
    """Return the rows of the sheet that the layout names, as `read_sheet`."""
    return read_sheet(content, layout.sheet, layout.heading_row)


def read_sheet(content: bytes, sheet: str, heading_row: int = 1) -> RawTable:
    """Return the rows of one sheet; a file that cannot be opened has no rows and a problem.

    sheet: "" for the first one. Merged cells from the heading row on are problems.
    """
    trouble = refused(content)
    if trouble:
        return RawTable((), (trouble,))
    try:
        book = _opened(content, values=True)
        if len(book.sheetnames) > MOST_SHEETS:
            what = f"the workbook has {len(book.sheetnames)} sheets, at most {MOST_SHEETS} are read."
            return RawTable((), (Problem(None, None, what, "Save the one sheet by itself.", expected="fewer sheets"),))
        if (sheet and sheet not in book.sheetnames) or not book.sheetnames:
            return RawTable((), (_no_sheet(sheet, book.sheetnames),))
        chosen = book[sheet or book.sheetnames[0]]
        source = _source(content, chosen)
        if _FAR_OFF.search(source):
            return RawTable((), (_too_large(None),))
        rows, problems = _rows(_lines(content, chosen, source))
        return RawTable(rows, problems + _merged(source, heading_row), "xlsx", "")
    except Exception as problem:  # the library raises whatever its parsers do; no file may bring the import down
        what = f"the workbook cannot be read ({type(problem).__name__}: {str(problem)[:200]})."
        return RawTable((), (Problem(None, None, what, "Open it, save it as a new workbook, and load that."),))


def sheet_names(content: bytes) -> tuple[str, ...]:
    """Return the names of a workbook's sheets in order; none of a file that cannot be opened."""
    if refused(content):
        return ()
    try:
        return tuple(_opened(content, values=True).sheetnames)
    except Exception:  # whatever the library's parsers raise: `read_workbook` says what is wrong with the file
        return ()


def _opened(content: bytes, values: bool) -> Any:
    """values: what the formulas gave when the workbook was saved, else the formulas themselves."""
    return openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=values)


def _source(content: bytes, sheet: Any) -> bytes:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return archive.read(sheet._worksheet_path)  # read-only sheets tell of no merged cells otherwise


def _rows(lines: Iterable[Iterable[CellValue]]) -> tuple[tuple[RawRow, ...], tuple[Problem, ...]]:
    rows = []
    for number, line in enumerate(lines, start=1):
        cells = tuple(line)
        longest = max((len(cell) for cell in cells if isinstance(cell, str)), default=0)
        if number > MOST_ROWS or len(cells) > MOST_COLUMNS or longest > LONGEST_CELL:
            return (), (_too_large(number),)
        rows.append(RawRow(number, _trimmed(cells)))
    while rows and not rows[-1].cells:  # what was formatted and never filled
        rows.pop()
    return tuple(rows), ()


def _too_large(row: int | None) -> Problem:
    what = f"the sheet reaches beyond {MOST_ROWS} rows, {MOST_COLUMNS} columns or {LONGEST_CELL} letters in a cell."
    return Problem(row, None, what, "Copy the table by itself to a new workbook, and load that.")


def _lines(content: bytes, sheet: Any, source: bytes) -> Iterator[Iterable[CellValue]]:
    """The cells of each row; those of a sheet with formulas or errors are looked at twice, which takes longer."""
    sheet.reset_dimensions()  # what a file says of its own size is often wrong
    if not _FORMULA_OR_ERROR.search(source):
        return (map(_plain, row) for row in sheet.iter_rows(values_only=True))
    typed = _opened(content, values=False)[sheet.title]
    typed.reset_dimensions()
    pairs = zip(sheet.iter_rows(), typed.iter_rows(), strict=True)
    return (map(_value, row, typed_row) for row, typed_row in pairs)


def _value(cell: Any, typed: Any) -> CellValue:
    if cell.data_type == "e":
        return CellError(str(cell.value))
    if cell.value is None and typed.data_type == "f":
        return CellError("a formula without its result")
    return _plain(cell.value)


def _plain(value: Any) -> CellValue:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, str | int | float):
        return value
    return value.isoformat() if isinstance(value, datetime | date | time) else str(value)


def _trimmed(cells: Iterable[CellValue]) -> tuple[CellValue, ...]:
    kept = list(cells)
    while kept and kept[-1] == "":
        kept.pop()
    return tuple(kept)


def _no_sheet(sheet: str, names: list[str]) -> Problem:
    return Problem(
        None,
        None,
        f"there is no sheet “{sheet}”; the workbook has {', '.join(f'“{name}”' for name in names)}.",
        "Name the sheet in the layout, or choose the layout of this file.",
    )


def _merged(source: bytes, heading_row: int) -> tuple[Problem, ...]:
    """Return a problem for each merged range that reaches into the table: only one of its cells holds the value."""
    return tuple(
        Problem(
            range_boundaries(merged)[1],
            merged.split(":")[0].rstrip("0123456789"),
            f"cells {merged} are merged.",
            "Part them and fill each cell, so that every value stands at its own place.",
        )
        for merged in (found.decode() for found in _MERGED.findall(source))
        if range_boundaries(merged)[3] >= heading_row
    )
