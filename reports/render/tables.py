"""A certificate's results as text tables for programs: CSV by RFC 4180, UTF-8 with a mark at its start, point decimals.

The wide one has a row a sample, the long one a row a result. Printed figures are kept: 4.10 stays 4.10. Thousands are
not parted, so that a program reads a number; a result that is printed in another unit than its column's keeps its unit.
What a spreadsheet would take for a formula gets an apostrophe before it (`labresults.readers.harmless`, which says how
every identification is had to the letter again).
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from labresults.readers.harmless import as_csv, protected
from reports.document import Cell, CertificateDocument, Column, Row
from reports.render.numbers import plain

LONG = (
    "certificate", "issue", "submission", "sample", "client identification", "matrix", "condition", "method", "analyte",
    "basis", "derived", "printed", "sign", "number", "limit", "unit", "U", "detection limit", "quantification limit",
    "mark", "remark", "statement of conformity", "changed",
)  # fmt: skip
"""Heads of the long table, in order."""


@dataclass(frozen=True)
class Written:
    """One result as a table of text holds it. value: number or limit with its sign, or words."""

    value: str
    sign: str
    number: str
    limit: str
    unit: str


def written(cell: Cell, column: Column) -> Written:
    """Return a printed result as text for a program; `unit` is its own where it was switched ("5.43 %")."""
    number, limit = plain(cell.number or ""), plain(cell.limit or "")
    if cell.number is not None:
        after = own_unit(cell)
        return Written(
            f"{cell.sign}{number}" + (f" {after}" if after else ""), cell.sign, number, limit, after or column.unit
        )
    in_words = not cell.sign or not cell.printed.startswith(cell.sign)  # “n.d.”, with its sign and limit beside it
    value = cell.printed if in_words else f"{cell.sign}{limit}"
    return Written(value, cell.sign, number, limit, column.unit)


def render_csv(document: CertificateDocument) -> bytes:
    """Return the wide table: one head row, a row a sample; beside an analyte its U and mark where any is given."""
    parts = {column.key: _parts(document, column) for column in document.columns}
    heads = ["sample", "client identification", "matrix", "condition"]
    for column in document.columns:
        name = head_of(column)
        heads += [name, *(f"{name}, {part}" for part in parts[column.key])]
    has_statements = any(row.conformity for row in document.rows)
    heads += ["conformity"] if has_statements else []
    return _csv([heads, *(_wide(row, document.columns, parts, has_statements) for row in document.rows)])


def render_long(document: CertificateDocument) -> bytes:
    """Return the long table: a row a result, its heads as in LONG."""
    remarks = {remark.mark: remark.text for remark in document.remarks}
    return _csv([LONG, *(line for row in document.rows for line in _long(document, row, remarks))])


def head_of(column: Column) -> str:
    """Return what stands over a column: what is reported, unit, basis and the mark of its method."""
    basis = f", {column.basis}" if column.basis else ""
    method = f" ({column.method})" if column.method else ""
    return f"{column.formula} {column.unit}{basis}{method}"


def _wide(row: Row, columns: Sequence[Column], parts: dict[str, list[str]], has_statements: bool) -> Iterator[str]:
    yield from map(protected, (row.number, row.client_identification, row.matrix, row.condition))
    cells = {cell.column: cell for cell in row.cells}
    for column in columns:
        cell = cells.get(column.key)
        yield written(cell, column).value if cell else ""
        for part in parts[column.key]:
            yield "" if cell is None else plain(cell.u) if part == "U" else cell.mark
    if has_statements:
        yield protected(row.conformity)


def _parts(document: CertificateDocument, column: Column) -> list[str]:
    """Which further columns an analyte needs."""
    cells = [cell for row in document.rows for cell in row.cells if cell.column == column.key]
    named = (("U", any(cell.u for cell in cells)), ("mark", any(cell.mark for cell in cells)))
    return [name for name, needed in named if needed]


def _long(document: CertificateDocument, row: Row, remarks: dict[str, str]) -> Iterator[list[str]]:
    columns = {column.key: column for column in document.columns}
    for cell in row.cells:
        if not cell.printed:
            continue
        column = columns[cell.column]
        as_text = written(cell, column)
        explained = " ".join(remarks[mark] for mark in cell.mark.split(", ") if mark in remarks)
        yield [
            document.number, str(document.issue), row.submission or document.submission,
            *map(protected, (row.number, row.client_identification, row.matrix, row.condition)),
            column.method, column.formula, column.basis, "yes" if column.derived else "", as_text.value, as_text.sign,
            as_text.number, as_text.limit, as_text.unit, plain(cell.u), *limits_beside(cell, column), cell.mark,
            protected(explained), protected(cell.statement),
            "yes" if cell.changed else "",
        ]  # fmt: skip


def limits_beside(cell: Cell, column: Column) -> tuple[str, str]:
    """Return the detection and quantification limit of a result in the unit of its column; "" where the result is
    printed in another, or they would be read in that one.
    """
    if written(cell, column).unit != column.unit:
        return "", ""
    return plain(cell.detection_limit), plain(cell.quantification_limit)


def own_unit(cell: Cell) -> str:
    """Return the unit that is printed beside a number, which is another than its column's; "" where none is."""
    return "" if cell.number is None else cell.printed.lstrip("<>−-+0123456789., \u00a0\u202f")


def _csv(lines: Iterable[Iterable[str]]) -> bytes:
    return as_csv(lines).encode("utf-8-sig")
