"""A two-dimensional code (ISO/IEC 18004) as a drawing, dark on light whatever the page's colours are."""

import segno

from labresults.plots import svg

QUIET = 4
"""Light modules around it (ISO/IEC 18004:2015, 5.3.8)."""


def code_plot(text: str, title: str) -> str:
    """The code of a text, error correction M, one unit a module, as SVG text. `title` says what it is for."""
    rows = segno.make_qr(text, error="m").matrix
    size = len(rows) + 2 * QUIET
    dark = "".join(
        f"M{x + QUIET} {y + QUIET}h1v1h-1z" for y, row in enumerate(rows) for x, is_dark in enumerate(row) if is_dark
    )
    parts = [svg.rectangle("qr-light", 0, 0, size, size), svg.path("qr-dark", dark)]
    return svg.drawing(size, size, title, parts, "qr")
