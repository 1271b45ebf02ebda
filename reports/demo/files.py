"""The forms in which the invented instrument writes its readings. Pure.

The layouts that read them stand in fixtures/demo/layouts.toml.
"""

import csv
import re
from collections.abc import Callable
from datetime import datetime, timedelta
from io import BytesIO, StringIO
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

import numpy as np
from openpyxl import Workbook

from reports.demo.instrument import Measured

SATURATED = "saturated"
A_PLACE = timedelta(minutes=2)
"""So long the instrument takes for each place."""

_STILL = datetime(2026, 11, 9)  # in workbooks, which hold a time of their own: the same content, the same bytes

_MODIFIED = re.compile(rb"(<dcterms:modified[^>]*>)[^<]*(</dcterms:modified>)")


def long_text(measured: Measured) -> bytes:
    """One row a place and line, decimal points, commas between, UTF-8."""
    count = measured.signals.shape[2]
    rows: list[list[object]] = [["position", "solution", "element", "nm", *(f"reading {n + 1}" for n in range(count))]]
    for i, place in enumerate(measured.places):
        for j, line in enumerate(measured.lines):
            element, wavelength = line.key.split(" ", 1)
            readings = [_number(value) for value in measured.signals[i, j]]
            rows.append([place.number, place.label, element, wavelength, *readings])
    return _delimited(rows, ",").encode()


def wide_text(measured: Measured) -> bytes:
    """One row a replicate and place, one column a line, decimal commas, semicolons between, Windows code page 1252."""
    rows: list[list[object]] = [["Place", "Solution", *(f"{line.key} nm" for line in measured.lines)]]
    for i, place in enumerate(measured.places):
        for replicate in range(measured.signals.shape[2]):
            readings = [_number(value).replace(".", ",") for value in measured.signals[i, :, replicate]]
            rows.append([place.number, place.label, *readings])
    return _delimited(rows, ";").encode("cp1252")


def workbook(measured: Measured) -> bytes:
    """One row a place and line under two rows of heading, real numbers in the cells."""
    book = Workbook()
    sheet = book.active
    sheet.title = "Readings"
    sheet.append(["Readings of the demonstration, counts/s"])
    sheet.append([])
    sheet.append(["Position", "Solution", "Line", *(f"Reading {n + 1}" for n in range(measured.signals.shape[2]))])
    for i, place in enumerate(measured.places):
        for j, line in enumerate(measured.lines):
            readings = [SATURATED if np.isnan(v) else round(float(v), 2) for v in measured.signals[i, j]]
            sheet.append([place.number, place.label, line.key, *readings])
    book.properties.created = _STILL
    written = BytesIO()
    book.save(written)
    return _without_clock(written.getvalue())


def units_text(measured: Measured) -> bytes:
    """Lines about the run, headings, a row of units; then one row a replicate and place with its time, tabs between,
    decimal points, UTF-8 with its mark."""
    count = measured.signals.shape[2]
    rows: list[list[object]] = [
        ["Run", measured.run],
        ["Readings of the demonstration"],
        [],
        ["Place", "Solution", "Read at", *(line.key for line in measured.lines)],
        ["", "", "", *("counts/s" for _ in measured.lines)],
    ]
    for i, place in enumerate(measured.places):
        for replicate in range(count):
            at = measured.begun + A_PLACE * i + A_PLACE / count * replicate
            readings = [_number(value) for value in measured.signals[i, :, replicate]]
            rows.append([place.number, place.label, at.strftime("%Y-%m-%d %H:%M:%S"), *readings])
    return _delimited(rows, "\t").encode("utf-8-sig")


FORMS: dict[str, tuple[Callable[[Measured], bytes], str]] = {
    "long, points": (long_text, "csv"),
    "wide, decimal commas": (wide_text, "csv"),
    "workbook": (workbook, "xlsx"),
    "wide, units and times": (units_text, "txt"),
}
"""By the name of the layout that reads it: what writes the form, and how its file's name ends."""


def _number(value: float) -> str:
    return SATURATED if np.isnan(value) else f"{value:.2f}"


def _delimited(rows: list[list[object]], delimiter: str) -> str:
    text = StringIO()
    csv.writer(text, delimiter=delimiter, lineterminator="\r\n").writerows(rows)
    return text.getvalue()


def _without_clock(archive: bytes) -> bytes:
    """A workbook is an archive whose entries carry the time of writing, and so does one of its properties."""
    still = BytesIO()
    with ZipFile(BytesIO(archive)) as source, ZipFile(still, "w", ZIP_DEFLATED) as target:
        for entry in source.infolist():
            content = _MODIFIED.sub(rb"\g<1>2026-11-09T00:00:00Z\g<2>", source.read(entry))
            target.writestr(ZipInfo(entry.filename, date_time=_STILL.timetuple()[:6]), content, ZIP_DEFLATED)
    return still.getvalue()
