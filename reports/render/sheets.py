"""How results are laid on sheets: upright where the columns fit, else landscape, parted by columns, never by rows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import accumulate, pairwise

from reports.document import Cell, CertificateDocument, Column, Row
from reports.render.figures import Formula, formula_parts, most_decimals, text_em, width_em
from reports.render.numbers import plain
from reports.render.stated import ROOM_MM, kind_of

MM_PER_POINT = 25.4 / 72
UPRIGHT_MM, LANDSCAPE_MM = 174.0, 261.0  # A4 less the margins of the style sheet
UPRIGHT_EM_MM, LANDSCAPE_EM_MM = 8.5 * MM_PER_POINT, 8.0 * MM_PER_POINT
UNIT_EM_MM = 7.5 * MM_PER_POINT
PADDING_MM = 2.2 + 0.4  # both sides of a cell, and a little for the letter of a remark
NUMBER_MM, CONFORMITY_MM, LANDSCAPE_CONFORMITY_MM = 21.0, 33.0, 46.0
IDENTIFICATION_MM, LONG_IDENTIFICATION_MM = 30.0, 50.0
MARK_SIGN_MM, ONE_MARK_MM = 1.3, 1.6  # a letter of a remark in italics, and the room that each column has for one
LETTER_EM = 0.56  # mean advance of the text face
MOST_COLUMNS = 14  # more on one sheet can no longer be read across


@dataclass(frozen=True)
class Head:
    """What stands over one column, and its limits. `point`: decimals that the column leaves room for."""

    formula: Formula
    unit: str
    basis: str  # "" where all columns share it: then the facts say it
    method: str
    detection_limit: str
    quantification_limit: str
    point: int
    width_mm: float
    rules: str = ""  # number of its reporting rules, where columns of a certificate have different ones
    figures_em: float = 0.0  # width of its widest figures, where signs stand left of them; else 0
    marks_mm: float = 0.0  # room for letters of remarks that are more than one


@dataclass(frozen=True)
class Printed:
    """One string in a column, with the letters of its remarks, whether an amendment changed it, and its statement."""

    text: str
    mark: str = ""
    changed: bool = False
    statement: str = ""


@dataclass(frozen=True)
class Below:
    """A line below a sample's own: its uncertainties, or limits that are its own."""

    label: str
    texts: tuple[str, ...]


@dataclass(frozen=True)
class Line:
    """One sample on one sheet. `group`: the submission that begins with it, where the certificate is of several."""

    number: str
    client_identification: str
    note: str
    cells: tuple[Printed, ...]
    below: tuple[Below, ...]
    conformity: str
    conforms: bool | None
    group: str = ""


@dataclass(frozen=True)
class Sheet:
    """One table of results: all samples, some or all of the columns."""

    caption: str
    formulas: str
    heads: tuple[Head, ...]
    lines: tuple[Line, ...]
    has_conformity: bool


@dataclass(frozen=True)
class Layout:
    """All sheets, the way the paper lies, and the room for the client's own identification, mm."""

    landscape: bool
    long_identification: bool
    identification_mm: float
    sheets: tuple[Sheet, ...]

    @property
    def width_mm(self) -> float:
        """Width of a table."""
        return LANDSCAPE_MM if self.landscape else UPRIGHT_MM


def lay_out(document: CertificateDocument) -> Layout:
    """Decide how the paper lies and which columns stand together."""
    conformity = any(row.conformity for row in document.rows)
    longest_mm = max((text_em(row.client_identification) for row in document.rows), default=0.0) * UPRIGHT_EM_MM
    texts = _texts(document)
    stated = {cell.column for row in document.rows for cell in row.cells if kind_of(cell.statement)}
    marks = _marks_mm(document)
    widths = [_column_mm(c, texts[c.key], UPRIGHT_EM_MM, c.key in stated, marks) for c in document.columns]
    identification = min(longest_mm + 2.2, LONG_IDENTIFICATION_MM)
    upright = NUMBER_MM + identification + sum(widths) + conformity * CONFORMITY_MM <= UPRIGHT_MM
    long = longest_mm + 2.2 > (LONG_IDENTIFICATION_MM if upright else IDENTIFICATION_MM)
    if not upright:
        identification = LONG_IDENTIFICATION_MM if long else IDENTIFICATION_MM
        widths = [_column_mm(c, texts[c.key], LANDSCAPE_EM_MM, c.key in stated, marks) for c in document.columns]
    room = LANDSCAPE_MM - NUMBER_MM - identification
    last = conformity * LANDSCAPE_CONFORMITY_MM
    groups = [len(widths)] if upright else _groups(document.columns, widths, room, last)
    sheets = []
    for index, (start, end) in enumerate(pairwise([0, *accumulate(groups)]), start=1):
        heads = tuple(_head(document, at, texts, widths[at], stated, marks) for at in range(start, end))
        shown = conformity and index == len(groups)
        sheets.append(_sheet(document, document.columns[start:end], heads, (index, len(groups)), shown))
    return Layout(not upright, long, identification, tuple(sheets))


def _groups(columns: Sequence[Column], widths: Sequence[float], room: float, conformity: float) -> list[int]:
    """Part the columns, in order, into as few groups as fit a landscape sheet; return how many stand in each.

    Of all ways with that number of groups, columns of one method are parted least often, then the groups are most
    nearly equal. `conformity`: room that the last group leaves for the statements.
    """
    number = len(columns)

    def fits(start: int, end: int) -> bool:
        needed = sum(widths[start:end]) + (conformity if end == number else 0.0)
        return end - start == 1 or (needed <= room and end - start <= MOST_COLUMNS)

    best: list[tuple[int, int, float, int]] = [(0, 0, 0.0, 0)]  # groups, methods parted, unevenness, minus its begin
    for end in range(1, number + 1):
        parted = end < number and columns[end - 1].method == columns[end].method
        starts = [start for start in range(max(0, end - MOST_COLUMNS), end) if fits(start, end)]
        best.append(min((best[s][0] + 1, best[s][1] + parted, best[s][2] + float((end - s) ** 2), -s) for s in starts))
    sizes: list[int] = []
    end = number
    while end:
        sizes.append(end + best[end][3])
        end = -best[end][3]
    return sizes[::-1]


def _column_mm(
    column: Column, texts: Sequence[str], em_mm: float, stated: bool, marks_mm: Mapping[str, float]
) -> float:
    """Return the width that a column needs, in mm; stated: signs of statements stand left of its figures."""
    figures = _figures_em(texts) * em_mm + stated * ROOM_MM
    words = column.formula.split()  # a head of several words is broken between them
    head = max(map(text_em, words)) if len(words) > 1 else width_em(column.formula, most_decimals(texts))
    head *= em_mm
    return max(figures, head, len(column.unit) * LETTER_EM * UNIT_EM_MM) + PADDING_MM + marks_mm.get(column.key, 0.0)


def _marks_mm(document: CertificateDocument) -> dict[str, float]:
    """Return the room that each column's remarks need beyond what stands between all columns, mm; by its key."""
    longest: dict[str, int] = {}
    for row in document.rows:
        for cell in row.cells:
            longest[cell.column] = max(longest.get(cell.column, 0), len(cell.mark))
    return {key: max(0.0, signs * MARK_SIGN_MM - ONE_MARK_MM) for key, signs in longest.items()}


def _figures_em(texts: Sequence[str]) -> float:
    """Return the width of the widest of the strings that are aligned in a column, em."""
    point = most_decimals(texts)
    return max((width_em(text, point) for text in texts), default=0.0)


def rule_numbers(document: CertificateDocument) -> dict[str, int]:
    """Return the number of each set of reporting rules by its name, "" being the document's own; empty for one set."""
    others = dict.fromkeys(column.rule_set for column in document.columns if column.rule_set)
    return {name: number for number, name in enumerate(["", *others], start=1)} if others else {}


def _texts(document: CertificateDocument) -> dict[str, list[str]]:
    """Return every string that is aligned in each column, by its key; each once."""
    found = {c.key: {c.detection_limit: None, c.quantification_limit: None} for c in document.columns}
    columns = {column.key: column for column in document.columns}
    for row in document.rows:
        for cell in row.cells:
            if cell.column in columns:
                of = columns[cell.column]
                found[cell.column].update({cell.printed: None, cell.u: None})
                found[cell.column][_own(cell.detection_limit, of.detection_limit)] = None
                found[cell.column][_own(cell.quantification_limit, of.quantification_limit)] = None
    return {key: list(texts) for key, texts in found.items()}


def _own(limit: str, of_column: str) -> str:
    """Return a cell's limit where it is not the column's."""
    return "" if limit == of_column else limit


def _sheet(
    document: CertificateDocument,
    columns: Sequence[Column],
    heads: tuple[Head, ...],
    part: tuple[int, int],
    conformity: bool,
) -> Sheet:
    formulas = " ".join(column.formula for column in columns)
    caption = "Results" if part[1] == 1 else f"Results, part {part[0]} of {part[1]}: {formulas}"
    return Sheet(caption, formulas, heads, tuple(_lines(document.rows, columns, conformity)), conformity)


def _head(
    document: CertificateDocument,
    at: int,
    texts: dict[str, list[str]],
    width_mm: float,
    stated: set[str],
    marks_mm: Mapping[str, float],
) -> Head:
    column = document.columns[at]
    mixed = len({other.basis for other in document.columns}) > 1
    numbers = rule_numbers(document)
    return Head(
        formula_parts(column.formula),
        column.unit,
        column.basis if mixed else "",
        column.method,
        column.detection_limit,
        column.quantification_limit,
        most_decimals(texts[column.key]),
        width_mm,
        str(numbers[column.rule_set]) if numbers else "",
        _figures_em(texts[column.key]) if column.key in stated else 0.0,
        marks_mm.get(column.key, 0.0),
    )


def _lines(rows: Sequence[Row], columns: Sequence[Column], conformity: bool) -> list[Line]:
    mixed_matrix = len({row.matrix for row in rows}) > 1
    mixed_condition = len({row.condition for row in rows}) > 1
    lines, submission = [], ""
    for row in rows:
        by_key = {cell.column: cell for cell in row.cells}
        cells = [by_key.get(column.key) for column in columns]
        shown = [row.matrix if mixed_matrix else "", row.condition if mixed_condition else ""]
        lines.append(
            Line(
                row.number,
                row.client_identification,
                ", ".join(text for text in shown if text),
                tuple(
                    Printed(cell.printed, cell.mark, cell.changed, cell.statement) if cell else Printed("")
                    for cell in cells
                ),
                _below(cells, columns),
                row.conformity if conformity else "",
                row.conforms,
                row.submission if row.submission != submission else "",
            )
        )
        submission = row.submission
    return lines


def _below(cells: list[Cell | None], columns: Sequence[Column]) -> tuple[Below, ...]:
    """Return the lines below a sample that have something to say."""
    pairs = list(zip(cells, columns, strict=True))
    candidates = (
        ("expanded uncertainty U", [c.u if c else "" for c in cells]),
        (
            "detection limit of this sample",
            [
                _own(c.detection_limit, column.detection_limit) if c and _matters(c, column) else ""
                for c, column in pairs
            ],
        ),
        (
            "quantification limit of this sample",
            [
                _own(c.quantification_limit, column.quantification_limit) if c and _matters(c, column) else ""
                for c, column in pairs
            ],
        ),
    )
    return tuple(Below(label, tuple(texts)) for label, texts in candidates if any(texts))


def _matters(cell: Cell, column: Column) -> bool:
    """Whether the limits of this sample say something of what is printed: of a computed value only beside one that does
    not reach them, since each sample has its own; the files have them all.
    """
    if not column.derived or cell.number is None or not cell.quantification_limit:
        return True
    return Decimal(cell.number) < Decimal(plain(cell.quantification_limit))
