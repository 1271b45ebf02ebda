"""A certificate's results in the layout that a client agreed on. What is printed is kept, figure by figure."""

from collections.abc import Iterator, Sequence

from labresults.readers.harmless import as_csv, protected
from reports.delivery import DECIMALS, DELIMITERS, AboveAs, Analyte, BelowAs, DeliveryLayout
from reports.document import Cell, CertificateDocument, Column, Row
from reports.render.numbers import half, plain
from reports.render.tables import written


class CannotDeliver(ValueError):
    """The certificate cannot be written in the layout: says what of it, and what to do."""


def render_delivery(document: CertificateDocument, layout: DeliveryLayout) -> bytes:
    """Return the results in a client's layout.

    Raises CannotDeliver when an analyte of the layout is not on the certificate or stands on it twice, when a result
    was printed in another unit than its column's and the layout has no place for that, or when a sign has no place in
    the encoding.
    """
    wanted = _wanted(document, layout)
    lines = _long(document, layout, wanted) if layout.shape == "long" else _wide(document, layout, wanted)
    try:
        return as_csv(lines, DELIMITERS[layout.delimiter]).encode(layout.encoding)
    except UnicodeEncodeError as problem:
        sign = problem.object[problem.start]
        raise CannotDeliver(f"The sign “{sign}” has no place in {layout.encoding}: choose utf-8.") from problem


def _wanted(document: CertificateDocument, layout: DeliveryLayout) -> list[tuple[Column, str]]:
    """The columns of results in the order of the layout, each with the name that the client gives it."""
    if not layout.analytes:
        return [(column, column.formula) for column in document.columns]
    return [(_one(document, analyte), analyte.name or analyte.reported_as) for analyte in layout.analytes]


def _one(document: CertificateDocument, analyte: Analyte) -> Column:
    found = [
        column
        for column in document.columns
        if column.formula == analyte.reported_as and analyte.method in ("", column.method)
    ]
    if len(found) != 1:
        what = f"{analyte.reported_as} {analyte.method}".strip()
        trouble = "is not on the certificate" if not found else "stands on it by several methods: name the one"
        raise CannotDeliver(f"{what} {trouble}.")
    return found[0]


def _wide(
    document: CertificateDocument, layout: DeliveryLayout, wanted: Sequence[tuple[Column, str]]
) -> Iterator[list[str]]:
    for head in layout.heads:
        left = list(layout.columns) if head == "name" else [""] * len(layout.columns)
        texts = [_head(head, column, name, layout) for column, name in wanted]
        yield left + [text for one in texts for text in _with_u(one, f"U {one}" if head == "name" else "", layout)]
    for row in document.rows:
        cells = {cell.column: cell for cell in row.cells}
        values = [_value(cells.get(column.key), column, row, layout) for column, _ in wanted]
        us = [_number(plain(cells[column.key].u), layout) if column.key in cells else "" for column, _ in wanted]
        pairs = zip(values, us, strict=True)
        yield _left(document, row, layout) + [text for value, u in pairs for text in _with_u(value, u, layout)]


def _long(
    document: CertificateDocument, layout: DeliveryLayout, wanted: Sequence[tuple[Column, str]]
) -> Iterator[list[str]]:
    yield [*layout.columns, *layout.heads, *_with_u("result", "U", layout)]
    for row in document.rows:
        cells = {cell.column: cell for cell in row.cells}
        for column, name in wanted:
            cell = cells.get(column.key)
            heads = [_head(head, column, name, layout) for head in layout.heads]
            if cell is not None and cell.printed:
                heads[layout.heads.index("unit")] = written(cell, column).unit
            u = _number(plain(cell.u), layout) if cell else ""
            value = _value(cell, column, row, layout, own_unit=True)
            yield _left(document, row, layout) + heads + _with_u(value, u, layout)


def _left(document: CertificateDocument, row: Row, layout: DeliveryLayout) -> list[str]:
    known = {
        "sample": row.number,
        "client identification": row.client_identification,
        "submission": row.submission or document.submission,
        "matrix": row.matrix,
        "condition": row.condition,
        "certificate": document.number,
        "issue": str(document.issue),
    }
    return [_kept(known[name], layout) for name in layout.columns]


def _kept(text: str, layout: DeliveryLayout) -> str:
    """What somebody wrote, as no spreadsheet calculates it, unless the client wants every letter as it is."""
    return protected(text, DELIMITERS[layout.delimiter]) if layout.formulas_are_harmless else text


def _head(head: str, column: Column, name: str, layout: DeliveryLayout) -> str:
    known = {
        "name": _kept(name, layout),
        "unit": column.unit,
        "basis": column.basis,
        "method": column.method,
        "detection limit": _number(plain(column.detection_limit), layout),
    }
    return known[head]


def _value(cell: Cell | None, column: Column, row: Row, layout: DeliveryLayout, own_unit: bool = False) -> str:
    if cell is None or not cell.printed:
        return _kept(layout.missing, layout)
    found = written(cell, column)
    if found.unit != column.unit and not own_unit:
        raise CannotDeliver(
            f"{column.formula} of {row.number} is printed in {found.unit}, its column is in {column.unit}: choose the"
            " long shape, which has a unit beside each number, or a rule set that does not switch units."
        )
    if not found.limit:
        return _number(found.number, layout) if found.number else cell.printed
    return _limit(found.limit, found.sign, layout)


def _limit(limit: str, sign: str, layout: DeliveryLayout) -> str:
    """What stands for a result of which only a limit is known."""
    if sign == ">":
        return _number(limit, layout, "" if layout.above is AboveAs.LIMIT else ">")
    as_below = {
        BelowAs.AS_PRINTED: _number(limit, layout, "<"),
        BelowAs.BLANK: "",
        BelowAs.NEGATIVE: _number(limit, layout, "-"),
        BelowAs.HALF: _number(half(limit), layout),
    }
    return as_below[layout.below]


def _number(text: str, layout: DeliveryLayout, sign: str = "") -> str:
    return sign + text.replace(".", DECIMALS[layout.decimal])


def _with_u(value: str, u: str, layout: DeliveryLayout) -> list[str]:
    return [value, u] if layout.with_uncertainty else [value]
