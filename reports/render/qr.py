"""QR codes as one path of an SVG, drawn in modules: no picture file, no style, sharp at any size."""

from dataclasses import dataclass

import segno


@dataclass(frozen=True)
class QrPath:
    """`d`: path data, one unit a module, from 0 to `modules` each way. The quiet zone (4 modules) is the layout's."""

    d: str
    modules: int


def qr_path(text: str) -> QrPath:
    """Return the code of `text` at error correction level Q (a quarter may be lost), the smallest that holds it.

    Raises segno.DataOverflowError if the text is longer than any code can hold.
    """
    code = segno.make_qr(text, error="q", boost_error=False)
    rows = [bytes(row) for row in code.matrix]
    d = "".join(f"M{x} {y}h{length}v1h-{length}z" for y, row in enumerate(rows) for x, length in _dark_stretches(row))
    return QrPath(d, len(rows))


def _dark_stretches(row: bytes) -> list[tuple[int, int]]:
    """Start and length of each stretch of dark modules of one row."""
    found: list[tuple[int, int]] = []
    for x, dark in enumerate(row):
        if not dark:
            continue
        if found and sum(found[-1]) == x:
            found[-1] = (found[-1][0], found[-1][1] + 1)
        else:
            found.append((x, 1))
    return found
