"""How results are laid on sheets: upright where the columns fit, else landscape, parted by columns, never by rows."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise

from reports.document import Cell, CertificateDocument, Column, Remark, Row
from reports.render.figures import Figure, cell_figure, figure, formula_parts, most_decimals, width_em

MM_PER_POINT = 25.4 / 72
UPRIGHT_MM, LANDSCAPE_MM = 174.0, 261.0  # A4 less the margins of the style sheet
UPRIGHT_EM_MM, LANDSCAPE_EM_MM = 8.5 * MM_PER_POINT, 8.0 * MM_PER_POINT
UNIT_EM_MM = 7.5 * MM_PER_POINT
PADDING_MM = 2.2 + 0.4  # both sides of a cell, and a little for the letter of a remark
NUMBER_MM, CONFORMITY_MM, LANDSCAPE_CONFORMITY_MM = 21.0, 33.0, 46.0
IDENTIFICATION_MM, LONG_IDENTIFICATION_MM = 30.0, 50.0
LETTER_EM = 0.56  # mean advance of the text face
MOST_COLUMNS = 14  # more on one sheet can no longer be read across


@dataclass(frozen=True)
class Head:
    """What stands over one column, and its limits."""

    formula: tuple[tuple[str, bool], ...]
    unit: str
    basis: str  # "" where all columns share it: then the facts say it
    method: str
    detection_limit: Figure
    quantification_limit: Figure


@dataclass(frozen=True)
class Below:
    """A line below a sample's own: its uncertainties, or limits that are its own."""

    label: str
    figures: tuple[Figure, ...]


@dataclass(frozen=True)
class Line:
    """One sample on one sheet. `style`: "five" at each fifth line, "last" at the last."""

    number: str
    client_identification: str
    note: str
    figures: tuple[Figure, ...]
    below: tuple[Below, ...]
    conformity: str
    conforms: bool | None
    style: str


@dataclass(frozen=True)
class Sheet:
    """One table of results: all samples, some or all of the columns."""

    caption: str
    formulas: str
    heads: tuple[Head, ...]
    lines: tuple[Line, ...]
    remarks: tuple[Remark, ...]
    has_conformity: bool


@dataclass(frozen=True)
class Layout:
    """All sheets, the way the paper lies, and whether an identification is so long that it must be broken."""

    landscape: bool
    long_identification: bool
    sheets: tuple[Sheet, ...]


def lay_out(document: CertificateDocument) -> Layout:
    """Decide how the paper lies and which columns stand together."""
    conformity = any(row.conformity for row in document.rows)
    longest = max((len(row.client_identification) for row in document.rows), default=0)
    upright = _fits_upright(document, longest, conformity)
    long = longest * LETTER_EM * UPRIGHT_EM_MM > (LONG_IDENTIFICATION_MM if upright else IDENTIFICATION_MM)
    groups = [document.columns] if upright else _groups(document, long, conformity)
    sheets = tuple(
        _sheet(document, columns, index, len(groups), conformity and index == len(groups))
        for index, columns in enumerate(groups, start=1)
    )
    return Layout(not upright, long, sheets)


def _fits_upright(document: CertificateDocument, longest: int, conformity: bool) -> bool:
    identification = min(longest * LETTER_EM * UPRIGHT_EM_MM + 2.2, LONG_IDENTIFICATION_MM)
    columns = sum(_column_mm(document, column, UPRIGHT_EM_MM) for column in document.columns)
    return NUMBER_MM + identification + columns + conformity * CONFORMITY_MM <= UPRIGHT_MM


def _groups(document: CertificateDocument, long: bool, conformity: bool) -> list[tuple[Column, ...]]:
    """Part the columns, in order, into the fewest groups of nearly equal number that each fit a landscape sheet."""
    room = LANDSCAPE_MM - NUMBER_MM - (LONG_IDENTIFICATION_MM if long else IDENTIFICATION_MM)
    widths = [_column_mm(document, column, LANDSCAPE_EM_MM) for column in document.columns]
    number = len(widths)
    for count in range(1, number + 1):
        ends = [0, *accumulate(number // count + (index < number % count) for index in range(count))]
        needed = [sum(widths[start:end]) for start, end in pairwise(ends)]
        needed[-1] += conformity * LANDSCAPE_CONFORMITY_MM
        if max(needed) <= room and ends[1] <= MOST_COLUMNS:
            break
    return [document.columns[start:end] for start, end in pairwise(ends)]


def _column_mm(document: CertificateDocument, column: Column, em_mm: float) -> float:
    """Return the width that a column needs, in mm."""
    texts = _texts(document, column)
    point = most_decimals(texts)
    numbers = max(width_em(text, point) for text in [*texts, column.formula])
    return max(numbers * em_mm, len(column.unit) * LETTER_EM * UNIT_EM_MM) + PADDING_MM


def _texts(document: CertificateDocument, column: Column) -> list[str]:
    """Return every string that is aligned in a column."""
    texts = [column.detection_limit, column.quantification_limit]
    for row in document.rows:
        for cell in row.cells:
            if cell.column == column.key:
                texts += [cell.printed, cell.u, _own(cell.detection_limit, column.detection_limit)]
                texts.append(_own(cell.quantification_limit, column.quantification_limit))
    return texts


def _own(limit: str, of_column: str) -> str:
    """Return a cell's limit where it is not the column's."""
    return "" if limit == of_column else limit


def _sheet(document: CertificateDocument, columns: Sequence[Column], index: int, count: int, conformity: bool) -> Sheet:
    formulas = " ".join(column.formula for column in columns)
    caption = "Results" if count == 1 else f"Results, part {index} of {count}: {formulas}"
    points = [most_decimals(_texts(document, column)) for column in columns]
    mixed = len({column.basis for column in document.columns}) > 1
    heads = tuple(_head(column, point, mixed) for column, point in zip(columns, points, strict=True))
    lines = tuple(_lines(document.rows, columns, points, conformity))
    keys = {column.key for column in columns}
    marks = {cell.mark for row in document.rows for cell in row.cells if cell.column in keys}
    remarks = tuple(remark for remark in document.remarks if count == 1 or any(remark.mark in mark for mark in marks))
    return Sheet(caption, formulas, heads, lines, remarks, conformity)


def _head(column: Column, point: int, mixed: bool) -> Head:
    return Head(
        formula_parts(column.formula),
        column.unit,
        column.basis if mixed else "",
        column.method,
        figure(column.detection_limit, point),
        figure(column.quantification_limit, point),
    )


def _lines(rows: Sequence[Row], columns: Sequence[Column], points: list[int], conformity: bool) -> list[Line]:
    mixed_matrix = len({row.matrix for row in rows}) > 1
    mixed_condition = len({row.condition for row in rows}) > 1
    lines = []
    for index, row in enumerate(rows, start=1):
        by_key = {cell.column: cell for cell in row.cells}
        cells = [by_key.get(column.key) for column in columns]
        shown = [row.matrix if mixed_matrix else "", row.condition if mixed_condition else ""]
        lines.append(
            Line(
                row.number,
                row.client_identification,
                ", ".join(text for text in shown if text),
                tuple(cell_figure(c, p) if c else Figure("", "num") for c, p in zip(cells, points, strict=True)),
                _below(cells, columns, points),
                row.conformity if conformity else "",
                row.conforms,
                "last" if index == len(rows) else "five" if index % 5 == 0 else "",
            )
        )
    return lines


def _below(cells: list[Cell | None], columns: Sequence[Column], points: list[int]) -> tuple[Below, ...]:
    """Return the lines below a sample that have something to say."""
    pairs = list(zip(cells, columns, strict=True))
    candidates = (
        ("expanded uncertainty U", [c.u if c else "" for c in cells]),
        (
            "detection limit of this sample",
            [_own(c.detection_limit, column.detection_limit) if c else "" for c, column in pairs],
        ),
        (
            "quantification limit of this sample",
            [_own(c.quantification_limit, column.quantification_limit) if c else "" for c, column in pairs],
        ),
    )
    return tuple(
        Below(label, tuple(figure(text, point) for text, point in zip(texts, points, strict=True)))
        for label, texts in candidates
        if any(texts)
    )
