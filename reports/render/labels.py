"""Labels to PDF: each at its place in mm, each line where it was measured to fit."""

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from hashlib import sha256
from json import dumps

from reports.labels import LabelSheet, Layout
from reports.render.kept import kept_pdf
from reports.render.label_placing import PlacedLabel, place
from reports.render.printing import fill
from reports.render.qr import qr_path


@dataclass(frozen=True)
class PrintedLabel:
    """A label with its left and top edge on the page, mm."""

    x_mm: float
    y_mm: float
    placed: PlacedLabel
    strokes: str  # of the code, one unit a module


def render_labels(sheet: LabelSheet) -> bytes:
    """Return the labels as PDF, each with the QR code of its number alone.

    Raises TooSmall where a label has no room for what it must hold; PangoMissing or CannotPrint, as a certificate does.
    """
    context = {"sheet": sheet, "layout": sheet.layout, "pages": _pages(sheet), "cuts": _cuts(sheet)}
    return kept_pdf(fill("reports/labels.html", context), _identifier(sheet))


def place_labels(sheet: LabelSheet) -> Iterator[PlacedLabel]:
    """Each label of the sheet as it will be drawn. Raises TooSmall."""
    width, height = sheet.layout.label_mm
    return (place(label, width, height) for label in sheet.labels)


def _pages(sheet: LabelSheet) -> list[list[PrintedLabel]]:
    pages: list[list[PrintedLabel]] = [[] for _ in range(sheet.pages)]
    for placed, (_, where) in zip(place_labels(sheet), sheet.places(), strict=True):
        pages[where.page].append(PrintedLabel(where.x_mm, where.y_mm, placed, qr_path(placed.code, error="m").strokes))
    return pages


def _cuts(sheet: LabelSheet) -> str:
    """Path data of a hairline round every place of a page, mm; nothing where none are wanted."""
    return outlines(sheet.layout) if sheet.cut_lines else ""


def outlines(layout: Layout, which: range | None = None) -> str:
    """Path data of places of a page, all of them unless said otherwise, mm."""
    width, height = layout.label_mm
    places = [layout.place(index) for index in (range(layout.a_page) if which is None else which)]
    return "".join(f"M{at.x_mm:.2f} {at.y_mm:.2f}h{width:.2f}v{height:.2f}h-{width:.2f}z" for at in places)


def _identifier(sheet: LabelSheet) -> bytes:
    """Return 16 bytes made of the content, so that the same paper is the same file."""
    return sha256(dumps(asdict(sheet), sort_keys=True).encode()).digest()[:16]
