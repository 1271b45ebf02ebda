"""Read a PDF back: text of each page, its size, its fonts, and the codes that a scanner finds in its picture."""

from io import BytesIO

import zxingcpp
from pypdf import PdfReader
from pypdf.generic import DictionaryObject
from pypdfium2 import PdfDocument

MM_PER_POINT = 25.4 / 72


def pages(pdf: bytes) -> list[str]:
    """Return the text of each page, white space made single."""
    return [" ".join(page.extract_text().split()) for page in PdfReader(BytesIO(pdf)).pages]


def sizes_mm(pdf: bytes) -> list[tuple[int, int]]:
    """Return width and height of each page, whole mm."""
    boxes = [page.mediabox for page in PdfReader(BytesIO(pdf)).pages]
    return [(round(float(box.width) * MM_PER_POINT), round(float(box.height) * MM_PER_POINT)) for box in boxes]


def fonts(pdf: bytes) -> dict[str, bool]:
    """Return each font's name, and whether its file is embedded."""
    found: dict[str, bool] = {}
    for page in PdfReader(BytesIO(pdf)).pages:
        resources = page["/Resources"].get_object()
        for font in resources.get("/Font", DictionaryObject()).get_object().values():
            plain = font.get_object()
            inner = plain["/DescendantFonts"][0].get_object() if "/DescendantFonts" in plain else plain
            descriptor = inner["/FontDescriptor"].get_object()
            found[str(plain["/BaseFont"])] = any(key in descriptor for key in ("/FontFile", "/FontFile2", "/FontFile3"))
    return found


def codes(pdf: bytes, dots_per_inch: int = 200) -> list[str]:
    """Return what the codes of all pages say, sorted, read from pictures of the pages as a scanner sees them."""
    found: list[str] = []
    with PdfDocument(pdf) as document:
        for page in document:
            drawn = page.render(scale=dots_per_inch / 72).to_numpy()
            found += [code.text for code in zxingcpp.read_barcodes(drawn, formats=zxingcpp.BarcodeFormat.QRCode)]
    return sorted(found)


def glyph_boxes(pdf: bytes) -> list[list[tuple[str, tuple[float, float, float, float]]]]:
    """Return every sign of each page that leaves ink, with its box: left, foot, right, top, in mm."""
    found = []
    with PdfDocument(pdf) as document:
        for page in document:
            text = page.get_textpage()
            signs = [(text.get_text_range(at, 1), text.get_charbox(at)) for at in range(text.count_chars())]
            found.append(
                [(s, tuple(e * MM_PER_POINT for e in box)) for s, box in signs if s.strip() and box[0] < box[2]]
            )
    return found


def overlaps(pdf: bytes, least_mm: float = 0.25) -> list[str]:
    """Say which signs lie over each other by more than `least_mm` both ways; neighbours of a slanted word may."""
    wrong = []
    for number, signs in enumerate(glyph_boxes(pdf), start=1):
        rows: dict[int, list[int]] = {}
        for at, (_, box) in enumerate(signs):
            for row in range(int(box[1] // 3), int(box[3] // 3) + 1):
                rows.setdefault(row, []).append(at)
        for row in rows.values():
            row.sort(key=lambda at: signs[at][1][0])
            for place, one in enumerate(row):
                for other in row[place + 1 :]:
                    if signs[other][1][0] > signs[one][1][2] - least_mm:
                        break
                    a, b = signs[one][1], signs[other][1]
                    if abs(one - other) < 3:  # a ligature is two signs in one box, and slanted letters reach over
                        continue
                    if min(a[3], b[3]) - max(a[1], b[1]) > least_mm and min(a[2], b[2]) - b[0] > least_mm:
                        wrong.append(
                            f"page {number}: {signs[one][0]} and {signs[other][0]} at {a[0]:.1f}, {a[1]:.1f} mm"
                        )
    return sorted(set(wrong))


def beyond_edges(pdf: bytes, side_mm: float = 17.0, end_mm: float = 5.0) -> list[str]:
    """Say which signs stand in the margins at the sides, or within `end_mm` of the upper or lower edge."""
    return [
        f"page {number}: {sign} at {box[0]:.1f}, {box[1]:.1f} mm"
        for number, (signs, (width, height)) in enumerate(zip(glyph_boxes(pdf), sizes_mm(pdf), strict=True), start=1)
        for sign, box in signs
        if box[0] < side_mm or box[2] > width - side_mm or box[1] < end_mm or box[3] > height - end_mm
    ]
