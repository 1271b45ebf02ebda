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
