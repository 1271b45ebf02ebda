"""Bench sheets to PDF, on the certificate's faces and tables."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from hashlib import sha256
from json import dumps

from reports.paper import BenchRow, BenchSheet
from reports.render.figures import Figure, figure, most_decimals
from reports.render.kept import kept_pdf
from reports.render.label_placing import MODULE_MM
from reports.render.printing import fill
from reports.render.qr import QrPath, qr_path


@dataclass(frozen=True)
class _Line:
    row: BenchRow
    figures: tuple[Figure, ...]
    code: QrPath
    code_mm: float


def render_bench_sheet(sheet: BenchSheet) -> bytes:
    """Return the bench sheet as PDF, A4. Raises PangoMissing or CannotPrint, as a certificate does."""
    context = {
        "sheet": sheet,
        "lines": _lines(sheet.rows),
        "code": qr_path(sheet.number, error="m"),
    }
    return kept_pdf(fill("reports/bench-sheet.html", context), _identifier(sheet))


def _lines(rows: Sequence[BenchRow]) -> list[_Line]:
    """Rows with their figures under each other's point. Each code stands clear of the codes above and below it."""
    places = [most_decimals(column) for column in zip(*(row.figures for row in rows), strict=True)]
    lines = []
    for row in rows:
        code = qr_path(row.code, error="m")
        figures = tuple(figure(text, most) for text, most in zip(row.figures, places, strict=True))
        lines.append(_Line(row, figures, code, code.modules * MODULE_MM))
    return lines


def _identifier(sheet: BenchSheet) -> bytes:
    """Return 16 bytes made of the content, so that the same paper is the same file."""
    return sha256(dumps(asdict(sheet), sort_keys=True).encode()).digest()[:16]
