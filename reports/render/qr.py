"""QR codes as one path of an SVG, drawn in modules: no picture file, no style, sharp at any size."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import segno

_PAIRED = frozenset("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")


@dataclass(frozen=True)
class QrPath:
    """`d`: path data, one unit a module, from 0 to `modules` each way. The quiet zone (4 modules) is the layout's.

    `strokes`: the same as lines to be drawn one unit wide, a third of the work where a sheet holds many codes.
    """

    d: str
    modules: int
    strokes: str = ""


def qr_path(text: str, error: Literal["m", "q"] = "q") -> QrPath:
    """Return the smallest code of `text` at error correction level Q (a quarter may be lost) or M (a seventh).

    Raises segno.DataOverflowError if the text is longer than any code can hold.
    """
    code = segno.make_qr(text, error=error, boost_error=False)
    rows = [bytes(row) for row in code.matrix]
    dark = [(x, y, length) for y, row in enumerate(rows) for x, length in _dark_stretches(row)]
    d = "".join(f"M{x} {y}h{length}v1h-{length}z" for x, y, length in dark)
    return QrPath(d, len(rows), "".join(f"M{x} {y}.5h{length}" for x, y, length in dark))


def modules_of(text: str) -> int:
    """Return how many modules a code of `text` at level M has each way, without drawing it where one like it was drawn.

    Signs of a number, of the 45 that a code packs in pairs, and others take unlike room (ISO/IEC 18004; from memory).
    """
    if text.isascii() and text.isdigit():
        return _modules("0" * len(text))
    if set(text) <= _PAIRED:
        return _modules("A" * len(text))
    return _modules(text)


@lru_cache(maxsize=4096)
def _modules(text: str) -> int:
    return qr_path(text, error="m").modules


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
