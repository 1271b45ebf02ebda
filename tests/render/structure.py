"""What a PDF holds, read from its objects: fonts and the glyphs shown, elements of the structure and their marks."""

import re
from collections.abc import Iterator
from typing import Any

from pikepdf import Array, Dictionary, Object, Page, Pdf, parse_content_stream


def fonts(pdf: Pdf) -> list[Object]:
    """Return every font that a page has."""
    found = {font.objgen: font for page in pdf.pages for font in page.Resources.Font.values()}
    return list(found.values())


def widths(font: Object) -> dict[int, float]:
    """Return the stated width of each glyph, thousandths of an em."""
    array = list(font.DescendantFonts[0].W)
    return {
        int(first) + step: float(width)
        for first, row in zip(array[::2], array[1::2], strict=True)
        for step, width in enumerate(row)
    }


def to_unicode(font: Object) -> dict[int, str]:
    """Return the sign of each glyph."""
    pairs = re.findall(rb"<([0-9a-f]{4})> <([0-9a-fA-F]+)>\n", font.ToUnicode.read_bytes())
    return {int(code, 16): bytes.fromhex(sign.decode()).decode("utf-16-be") for code, sign in pairs}


def shown_codes(pdf: Pdf) -> set[tuple[str, int]]:
    """Return each glyph that any page shows, with its font's name."""
    found = set()
    for page in pdf.pages:
        name = ""
        for operands, operator in parse_content_stream(page):
            if str(operator) == "Tf":
                name = str(page.Resources.Font[str(operands[0])].BaseFont)
            elif str(operator) == "TJ":
                for part in operands[0]:
                    if (
                        not isinstance(part, (int, float))
                        and hasattr(part, "__bytes__")
                        and part._type_name == "string"
                    ):
                        raw = bytes(part)
                        found |= {(name, int.from_bytes(raw[at : at + 2], "big")) for at in range(0, len(raw), 2)}
    return found


def elements(pdf: Pdf) -> Iterator[Object]:
    """Yield every element of the structure, in reading order."""
    pending = [pdf.Root.StructTreeRoot.K[0]]
    while pending:
        element = pending.pop()
        yield element
        pending += reversed(kids(element))


def kids(element: Object) -> list[Object]:
    """Return the elements below an element."""
    held = element.get("/K", Array())
    below = list(held) if isinstance(held, Array) else [held]
    return [kid for kid in below if isinstance(kid, Dictionary) and "/S" in kid]


def marks_of(element: Object) -> Iterator[tuple[Object, int]]:
    """Yield page and number of each mark that an element holds."""
    held = element.get("/K", Array())
    for kid in list(held) if isinstance(held, Array) else [held]:
        if isinstance(kid, int):
            yield element.Pg, kid
        elif isinstance(kid, Dictionary) and "/MCID" in kid:
            yield kid.Pg, int(kid.MCID)


def parent_tree(pdf: Pdf) -> dict[int, Any]:
    """Return the elements of each page's marks by the page's key, and the element of each field by the field's."""
    numbers = list(pdf.Root.StructTreeRoot.ParentTree.Nums)
    pairs = zip(numbers[::2], numbers[1::2], strict=True)
    return {int(key): list(found) if isinstance(found, Array) else found for key, found in pairs}


def operations(pdf: Pdf, only: Page | None = None) -> Iterator[tuple[int, str, int, int | None]]:
    """Yield page, operator, how many marks it lies in, and the number of the mark that it begins."""
    for number, page in enumerate(pdf.pages if only is None else [only], start=1):
        depth = 0
        for operands, operator in parse_content_stream(page):
            name = str(operator)
            mark = None
            if name in {"BDC", "BMC"}:
                depth += 1
                if name == "BDC" and isinstance(operands[1], Dictionary) and "/MCID" in operands[1]:
                    mark = int(operands[1].MCID)
            elif name == "EMC":
                depth -= 1
            yield number, name, depth, mark


def descriptor(font: Object) -> Object:
    return font.DescendantFonts[0].FontDescriptor
