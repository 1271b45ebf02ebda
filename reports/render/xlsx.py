"""Certificate to a workbook: numbers are numbers, shown with the certificate's own figures; all else is text.

A result below its limit ("<0.2") stays text, so that nobody adds it up; its limit stands as a number beside it. So does
a result that is printed in another unit than its column's ("5.43 %" under mg/kg), with its U.
"""

import re
from collections import Counter
from collections.abc import Callable, Sequence
from datetime import datetime
from hashlib import sha256
from io import BytesIO
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from openpyxl import Workbook
from openpyxl.packaging.custom import StringProperty
from openpyxl.worksheet.worksheet import Worksheet

from reports.document import Cell, CertificateDocument, Column
from reports.render.tables import own_unit
from reports.render.workbook_pen import Pen, Printed
from reports.render.workbook_words import read_me, words

NO_TIME = datetime(2000, 1, 1)  # a workbook must hold a time; the time of issue stands in its words
LEFT = ("Sample", "Your own identification", "Matrix", "Condition")
OVER = (
    ("Analyte", "formula"),
    ("Unit", "unit"),
    ("Basis", "basis"),
    ("Method", "method"),
    ("Detection limit", "detection_limit"),
    ("Quantification limit", "quantification_limit"),
)
TEXT_WIDTH = 60
_MODIFIED = re.compile(rb"(<dcterms:modified[^>]*>)[^<]*(</dcterms:modified>)")


Reader = Callable[[Cell, Column], str]
_PARTS: tuple[tuple[str, Reader], ...] = (
    ("U", lambda cell, column: _u(cell)),
    ("own detection limit", lambda cell, column: _own(cell.detection_limit, column.detection_limit)),
    ("own quantification limit", lambda cell, column: _own(cell.quantification_limit, column.quantification_limit)),
    ("remark", lambda cell, column: cell.mark),
    ("statement", lambda cell, column: cell.statement),
)


def render_workbook(document: CertificateDocument) -> bytes:
    """Return the certificate as .xlsx: sheets Results, Methods and limits, Control samples, Read me.

    Every string is text, even one that begins like a formula: a client's identification is kept to the letter. The same
    document gives the same bytes.
    """
    book = Workbook()
    _results(book.active, document)
    _methods(book.create_sheet(), document)
    _controls(book.create_sheet(), document)
    read_me(book.create_sheet(), document)
    _properties(book, document)
    stream = BytesIO()
    book.save(stream)
    return _without_clock(stream.getvalue())


def _results(sheet: Worksheet, document: CertificateDocument) -> None:
    """Fill the first sheet: who and what, heads and limits, then one row a sample, then means over sets and remarks."""
    parts = _parts_needed(document)
    names = ["value", "limit", *(name for name, _ in parts)]
    pen = Pen(sheet, "Results", [16, 28, 14, 16, *[11, *[9] * (len(names) - 1)] * len(document.columns), 30])
    pen.write(*_heading(document))
    for label, field in OVER:
        pen.write([label, "", "", "", *_spread(document.columns, field, len(names))], bold=field == "formula")
    heads = [*LEFT, *_heads(document.columns, names), "Conformity"]
    pen.write(heads, bold=True)
    pen.freeze(column=3)
    pen.filters(len(heads), pen.row + len(document.rows))
    pen.for_print(_named(document), repeat_to=pen.row, repeat_columns="A:B")
    for row in document.rows:
        cells = {cell.column: cell for cell in row.cells}
        texts = [text for column in document.columns for text in _cell_texts(cells.get(column.key), column, parts)]
        pen.write([row.number, row.client_identification, row.matrix, row.condition, *texts, row.conformity])
    _grades(pen, document)
    pen.write([], *([remark.mark, remark.text] for remark in document.remarks))


def _grades(pen: Pen, document: CertificateDocument) -> None:
    """Write the means over sets, weighted by mass, each with its unit."""
    if not document.grades:
        return
    pen.write(
        [], ["Mean over a set", "Samples", "Mass, kg", "", *(c.formula for c in document.grade_columns)], bold=True
    )
    pen.write(["Unit", "", "", "", *(c.unit for c in document.grade_columns)])
    for grade in document.grades:
        values = [_value(cell) for cell in grade.cells]
        pen.write([grade.name, grade.samples, Printed(grade.mass), "", *values])
        if any(cell.statement for cell in grade.cells):
            pen.write([f"{grade.name}, statement", "", "", "", *(cell.statement for cell in grade.cells)])


def _heads(columns: Sequence[Column], names: Sequence[str]) -> list[str]:
    """Return what stands over every place of a row, each once: a table needs names that differ."""
    counts = Counter(column.formula for column in columns)
    named = [c.formula if counts[c.formula] == 1 else f"{c.formula} ({c.method})" for c in columns]
    return [f"{name} {part}" for name in named for part in names]


def _named(document: CertificateDocument) -> str:
    return f"{document.title} {document.number}, issue {document.issue}"


def _heading(document: CertificateDocument) -> list[list[str]]:
    """Return what identifies the certificate, a line each."""
    lines = [
        [_named(document), "", document.laboratory],
        ["Client", ", ".join((document.client, *document.client_address)), "Your reference", document.reference],
        ["Submission", document.submission, "Measured", document.measured],
        ["Reported on", document.reported_on, "Issued", document.issued],
    ]
    if document.replaces:
        lines.append(["Replaces", document.replaces, document.replaces_why])
    if document.preliminary:
        lines.insert(0, ["PRELIMINARY: these results may still change"])
    return lines


def _parts_needed(document: CertificateDocument) -> list[tuple[str, Reader]]:
    """Return the further columns of an analyte that at least one cell of the certificate fills."""
    columns = {column.key: column for column in document.columns}
    cells = [cell for row in document.rows for cell in row.cells if cell.column in columns]
    return [(name, read) for name, read in _PARTS if any(read(cell, columns[cell.column]) for cell in cells)]


def _spread(columns: Sequence[Column], field: str, width: int) -> list[str]:
    """Return a field of every column, each followed by empty places for its further columns."""
    kind = Printed if field.endswith("_limit") else str
    return [text for column in columns for text in (kind(getattr(column, field)), *[""] * (width - 1))]


def _cell_texts(cell: Cell | None, column: Column, parts: Sequence[tuple[str, Reader]]) -> list[str]:
    """Return one result as printed, the limit behind < or >, and what the further columns hold."""
    if cell is None:
        return [""] * (2 + len(parts))
    return [_value(cell), Printed(cell.limit or ""), *(read(cell, column) for _, read in parts)]


def _value(cell: Cell) -> str:
    """A number where it is one of its column's unit: nobody adds up 5.43 % and 120 mg/kg."""
    return cell.printed if cell.number is None or own_unit(cell) else Printed(cell.printed)


def _u(cell: Cell) -> str:
    unit = own_unit(cell)
    return f"{cell.u}\N{NO-BREAK SPACE}{unit}" if unit and cell.u else Printed(cell.u)


def _own(limit: str, of_column: str) -> str:
    return Printed("" if limit == of_column else limit)


def _methods(sheet: Worksheet, document: CertificateDocument) -> None:
    pen = Pen(sheet, "Methods and limits", [22, 22, 18, 30, 22, TEXT_WIDTH])
    pen.write(["Analyte", "Unit", "Basis", "Method", "Detection limit", "Quantification limit"], bold=True)
    pen.freeze()
    for c in document.columns:
        limits = [Printed(c.detection_limit), Printed(c.quantification_limit)]
        pen.write([c.formula, c.unit, c.basis, c.method, *limits])
    pen.write([], ["Method", "Code and version", "Runs", "Lines, nm", "Method blank", "What was done"], bold=True)
    for m in document.methods:
        outside = "Measured by another laboratory." if m.external else ""
        done = " ".join(text for text in (m.what_was_done, outside, m.accredited) if text)
        pen.write([m.mark, f"{m.code} v{m.version}", " ".join(m.runs), m.lines, m.blank, done])
    pen.write([], *words(document))
    if document.changes:
        pen.write([], ["Changed: sample", "What", "Before", "Now", "Why"], bold=True)
        pen.write(
            *([change.sample, change.column, change.old, change.new, change.reason] for change in document.changes)
        )
    pen.for_print(_named(document), repeat_to=1)


def _controls(sheet: Worksheet, document: CertificateDocument) -> None:
    pen = Pen(sheet, "Control samples", [14, 28, 22, 10, 10, 16, 14, 26, 14, 12, TEXT_WIDTH])
    heads = ["Run", "Kind", "Label", "Analyte", "Unit", "Expected", "Found", "Judged", "Limits", "Verdict"]
    pen.write([*heads, "Accepted because"], bold=True)
    pen.freeze()
    pen.filters(len(heads) + 1, 1 + len(document.controls))
    pen.for_print(_named(document), repeat_to=1)
    for c in document.controls:
        numbers = [Printed(c.expected), Printed(c.found), Printed(c.measure), Printed(c.limits)]
        pen.write([c.run, c.kind, c.label, c.analyte, c.unit, *numbers, c.verdict, c.accepted_because])


def _properties(book: Workbook, document: CertificateDocument) -> None:
    """Say in the file's properties which certificate it is, with the hash of the frozen document."""
    digest = sha256(document.to_json().encode()).hexdigest()
    book.properties.title = _named(document)
    book.properties.creator = document.laboratory
    book.properties.identifier = document.number
    book.properties.version = str(document.issue)
    book.properties.description = f"SHA-256 of the certificate's document: {digest}"
    book.properties.created = NO_TIME
    for name, value in (("Certificate", document.number), ("Issue", str(document.issue)), ("Document SHA-256", digest)):
        book.custom_doc_props.append(StringProperty(name=name, value=value))


def _without_clock(workbook: bytes) -> bytes:
    """Return the same workbook without the times of writing, which the writer puts in unasked."""
    stream = BytesIO()
    with ZipFile(BytesIO(workbook)) as source, ZipFile(stream, "w", ZIP_DEFLATED) as target:
        for name in source.namelist():
            content = _MODIFIED.sub(rb"\g<1>2000-01-01T00:00:00Z\g<2>", source.read(name))
            info = ZipInfo(name, date_time=(2000, 1, 1, 0, 0, 0))
            info.compress_type = ZIP_DEFLATED
            target.writestr(info, content)
    return stream.getvalue()
