"""Read a PDF back: text of each page, its size, and whether all its fonts are in the file."""

from io import BytesIO

from pypdf import PdfReader
from pypdf.generic import DictionaryObject

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
