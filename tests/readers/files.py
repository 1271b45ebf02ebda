"""Files of readings, made here; all names and numbers are invented."""

import io
from collections.abc import Sequence
from typing import Any

import openpyxl

from labresults.readers.layout import Layout, Shape

LONG = Layout(
    "one row a line",
    1,
    Shape.LONG,
    "counts/s",
    position="Position",
    label="Name",
    line="Line",
    replicates=("Reading {n}",),
    over_range=("saturated",),
    missing=("", "none"),
)
WIDE = Layout("one row a position", 1, Shape.WIDE, "mg/L", position="Position", label="Name")

LONG_TEXT = """Position,Name,Line,Reading 1,Reading 2,Reading 3
1,Blank,Cu 324.754,12.1,11.9,12.0
1,Blank,Pb 220.353,3.5,3.6,none
2,"Standard 1, new",Cu 324.754,1204.5,saturated,1210.1
2,"Standard 1, new",Pb 220.353,,,
"""

WIDE_TEXT = """Position;Name;Cu 324.754;Pb 220.353
1;Blank;0.001;-0.0004
2;Standard 1;1.0021;0.9987
"""


def workbook(*sheets: tuple[str, Sequence[Sequence[Any]]], merged: str = "") -> bytes:
    """Return a workbook with these sheets; `merged` is a range of the first one."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets:
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
    if merged:
        book.worksheets[0].merge_cells(merged)
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()
