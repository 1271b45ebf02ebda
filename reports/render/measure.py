"""How wide a text is in the print folder's own faces: what the style sheet sets, measured before it is set."""

from collections.abc import Callable
from functools import cache

from fontTools.ttLib import TTFont

from reports.render.printing import PRINT_FOLDER

MM_PER_PT = 25.4 / 72
FACES = {"mono": ("mono", 400), "text": ("next", 400), "bold": ("next", 600)}
ROUNDED = 1.01
"""How much wider a line may come out than its advances add up to."""
UNKNOWN_EM = 1.0
"""Width of a sign that our faces lack and another font of the machine sets: as wide as the widest of ours."""


@cache
def _advances_em(face: str) -> dict[int, float]:
    """Advance of each sign that a face has, em."""
    name, weight = FACES[face]
    files = [f"atkinson-hyperlegible-{name}-{part}-{weight}-normal.woff2" for part in ("latin", "latin-ext")]
    found: dict[int, float] = {}
    for file in ["signs.woff2", *reversed(files)]:  # the Latin file wins
        with TTFont(PRINT_FOLDER / "fonts" / file) as font:
            widths, per_em = font["hmtx"], font["head"].unitsPerEm
            found |= {sign: widths[glyph][0] / per_em for sign, glyph in font.getBestCmap().items()}
    return found


def width_mm(text: str, face: str, size_pt: float) -> float:
    """Return the width of `text` on one line, mm, from the advances of its signs (kerning is left out)."""
    advances = _advances_em(face)
    return sum(advances.get(ord(sign), UNKNOWN_EM) for sign in text) * size_pt * MM_PER_PT * ROUNDED


def largest_pt(text: str, face: str, width: float, most: float) -> float:
    """Return the size, pt, at most `most`, at which `text` is no wider than `width`, mm."""
    at_one = width_mm(text, face, 1.0)
    return most if at_one == 0 else min(most, width / at_one)


def wrap(text: str, face: str, size_pt: float, width: float) -> list[str]:
    """Return the lines of `text` no wider than `width`, mm: broken at spaces, inside a word only where it must be.

    Every sign is kept: joined again, the lines are the text to the letter.
    """
    return wrap_by(text, lambda line: width_mm(line, face, size_pt), width)


def wrap_by(text: str, width_of: Callable[[str], float], width: float) -> list[str]:
    """As `wrap`, with lines measured by `width_of`, in the unit of `width`."""
    lines = [""]
    for word in _words(text):
        if lines[-1] and width_of(lines[-1] + word.rstrip()) > width:
            lines.append("")
        if width_of(word.rstrip()) <= width:
            lines[-1] += word
            continue
        for sign in word:
            if lines[-1] and not sign.isspace() and width_of(lines[-1] + sign) > width:
                lines.append("")
            lines[-1] += sign
    return lines


def elide(text: str, face: str, size_pt: float, width: float) -> str:
    """Return the longest beginning of `text` that fits with an ellipsis behind it; the text itself where it fits."""
    if width_mm(text.rstrip(), face, size_pt) <= width:
        return text
    kept = text
    while kept and width_mm(kept.rstrip() + "…", face, size_pt) > width:
        kept = kept[:-1]
    return kept.rstrip() + "…"


def _words(text: str) -> list[str]:
    """Words, each with the spaces that follow it."""
    words: list[str] = []
    for sign in text:
        if not words or (words[-1][-1].isspace() and not sign.isspace()):
            words.append("")
        words[-1] += sign
    return words
