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
from labresults.readers.problem import Problem
from labresults.readers.table import CellError, CellValue, RawRow, RawTable

SIGNATURE = b"PK\x03\x04"
OLD_SIGNATURE = b"\xd0\xcf\x11\xe0"
_MOST_BYTES = 400_000_000  # unpacked: more than a hundred of the largest runs, less than a machine's memory
_FORMULA = re.compile(rb"<(?:\w+:)?f[ />]")
_MERGED = re.compile(rb'<(?:\w+:)?mergeCell\s[^>]*?ref="([A-Z]+[0-9]+:[A-Z]+[0-9]+)"')


def read_workbook(content: bytes, layout: Layout) -> RawTable:
    """Return the rows of the sheet that the layout names, as `read_sheet`."""
    return read_sheet(content, layout.sheet, layout.heading_row)


def read_sheet(content: bytes, sheet: str, heading_row: int = 1) -> RawTable:
    """Return the rows of one sheet; a file that cannot be opened has no rows and a problem.

    sheet: "" for the first one. Merged cells from the heading row on are problems.
    """
    trouble = _cannot_be_opened(content)
    if trouble:
        return RawTable((), (trouble,))
    try:
        book = _opened(content, values=True)
        if sheet and sheet not in book.sheetnames:
            return RawTable((), (_no_sheet(sheet, book.sheetnames),))
        chosen = book[sheet or book.sheetnames[0]]
        source = _source(content, chosen)
        typed = _opened(content, values=False)[chosen.title] if _FORMULA.search(source) else chosen
        return RawTable(_rows(chosen, typed), _merged(source, heading_row), "xlsx", "")
    except Exception as problem:  # the library raises whatever its parsers do; no file may bring the import down
        what = f"the workbook cannot be read ({type(problem).__name__}: {problem})."
        return RawTable((), (Problem(None, None, what, "Open it, save it as a new workbook, and load that."),))


def sheet_names(content: bytes) -> tuple[str, ...]:
    """Return the names of a workbook's sheets in order; none of a file that cannot be opened."""
    if _cannot_be_opened(content):
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


def _rows(sheet: Any, typed: Any) -> tuple[RawRow, ...]:
    """typed: the same sheet with its formulas, or the sheet itself where there are none."""
    sheet.reset_dimensions()  # what a file says of its own size is often wrong
    typed.reset_dimensions()
    pairs = zip(sheet.iter_rows(), typed.iter_rows(), strict=True) if typed is not sheet else _twice(sheet)
    return tuple(
        RawRow(number, _trimmed(_value(cell, as_typed) for cell, as_typed in zip(row, typed_row, strict=True)))
        for number, (row, typed_row) in enumerate(pairs, start=1)
    )


def _twice(sheet: Any) -> Iterator[tuple[Any, Any]]:
    return ((row, row) for row in sheet.iter_rows())


def _value(cell: Any, typed: Any) -> CellValue:
    value = cell.value
    if cell.data_type == "e":
        return CellError(str(value))
    if value is None:
        return CellError("a formula without its result") if typed.data_type == "f" else ""
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


def _cannot_be_opened(content: bytes) -> Problem | None:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            if sum(entry.file_size for entry in archive.infolist()) > _MOST_BYTES:
                return Problem(None, None, "the workbook is too large when unpacked.", "Save the one sheet by itself.")
            if "[Content_Types].xml" not in archive.namelist():
                return Problem(
                    None, None, "this is a packed file, not a workbook.", "Unpack it and load the file inside."
                )
    except (zipfile.BadZipFile, NotImplementedError, OSError, ValueError):  # damaged in one way or another
        return Problem(
            None, None, "the workbook is damaged or cut off.", "Copy it once more from where it was written."
        )
    return None


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
