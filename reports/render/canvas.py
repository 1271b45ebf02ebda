"""One page that is drawn sign by sign: text, rules, and marks that say what each of them is for a screen reader."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from math import cos, radians, sin

from reports.render.glyphs import Glyphs

POINT_PER_MM = 72 / 25.4
INK, GREY, RULE, FIFTH, GHOST = "#17212b", "#44515c", "#c6ccc3", "#8d968e", "#e6e9e3"
PREFIX = "G"
"""What stands before a font's name, so that it is not taken for a font that the page has already."""


THIN_RING_MM, RING_MM = 0.14, 0.2
_QUARTER = 0.5523
"""Reach of the handles of a cubic curve that is a quarter of a circle: 4 (√2 − 1) / 3."""


def _colour(code: str) -> bytes:
    return " ".join(f"{int(code[at : at + 2], 16) / 255:.4f}".rstrip("0") for at in (1, 3, 5)).encode()


_COLOURS = {code: _colour(code) for code in (INK, GREY, RULE, FIFTH, GHOST)}


@dataclass
class Canvas:
    """A page under the pen; places in mm from its upper left corner, sizes in pt. `marked`: marks made so far."""

    glyphs: Glyphs
    height_mm: float
    marked: int = 0
    content: list[bytes] = field(default_factory=list)
    _fill: str = ""

    def begin(self, tag: str) -> int:
        """Begin what a reader is to find; return its number on this page."""
        self.content.append(b"/%s <</MCID %d>> BDC" % (tag.encode(), self.marked))
        self.marked += 1
        return self.marked - 1

    def begin_artifact(self, furniture: bool = False) -> None:
        """Begin what a screen reader passes over: rules, heads said again, and furniture of the page."""
        self.content.append(b"/Artifact <</Type /Pagination>> BDC" if furniture else b"/Artifact BMC")

    def end(self) -> None:
        """End what was begun last."""
        self.content.append(b"EMC")

    def text(self, x: float, y: float, face: str, size: float, text: str, colour: str = INK) -> None:
        """Set a line of text whose baseline begins at (x, y)."""
        if not text:
            return
        self._ink(colour)
        at = b"1 0 0 1 %.3f %.3f Tm" % (x * POINT_PER_MM, (self.height_mm - y) * POINT_PER_MM)
        self._show(at, face, size, text)

    def slanted(self, x: float, y: float, size: float, text: str, degrees: float) -> None:
        """Set a pale bold line that climbs by `degrees`, its middle at (x, y)."""
        self._ink(GHOST)
        along = self.glyphs.width_em("bold", text) * size / 2
        c, s = cos(radians(degrees)), sin(radians(degrees))
        left = x * POINT_PER_MM - along * c + 0.34 * size * s
        low = (self.height_mm - y) * POINT_PER_MM - along * s - 0.34 * size * c
        self._show(b"%.5f %.5f %.5f %.5f %.3f %.3f Tm" % (c, s, -s, c, left, low), "bold", size, text)

    def rule(self, left: float, right: float, y: float, thickness: float, colour: str = INK) -> None:
        """Draw a level rule whose upper edge is at y."""
        self.box(left, y, right - left, thickness, colour)

    def box(self, x: float, y: float, width: float, height: float, colour: str = INK) -> None:
        """Draw a filled rectangle from its upper left corner."""
        self._ink(colour)
        low = (self.height_mm - y - height) * POINT_PER_MM
        self.content.append(
            b"%.3f %.3f %.3f %.3f re f" % (x * POINT_PER_MM, low, width * POINT_PER_MM, height * POINT_PER_MM)
        )

    @contextmanager
    def read_as(self, words: str) -> Iterator[None]:
        """What is drawn inside is no text: a reader hears `words` (ISO 32000-1, 14.9.4)."""
        self.content.append(b"/Span <</ActualText <%s>>> BDC" % ("\ufeff" + words).encode("utf-16-be").hex().encode())
        yield
        self.content.append(b"EMC")

    def sign(self, x: float, y: float, radius: float, shape: str) -> None:
        """Draw the sign of a statement (see `stated`) around (x, y), mm."""
        at = b"q 1 0 0 1 %.3f %.3f cm " % (x * POINT_PER_MM, (self.height_mm - y) * POINT_PER_MM)
        self.content.append(at + _sign(shape, radius) + b" Q")

    def width(self, face: str, size: float, text: str) -> float:
        """Return the width of a line, mm."""
        return self.glyphs.width_em(face, text) * size / POINT_PER_MM

    def _ink(self, colour: str) -> None:
        if colour != self._fill:
            self._fill = colour
            self.content.append(_COLOURS[colour] + b" rg")

    def _show(self, at: bytes, face: str, size: float, text: str) -> None:
        shown = b" ".join(
            b"/%s%s %.4g Tf [%s] TJ" % (PREFIX.encode(), run.font[1:].encode(), size, run.shown)
            for run in self.glyphs.runs(face, text)
        )
        self.content.append(b"BT %s %s ET" % (at, shown))


@cache
def _sign(shape: str, radius: float) -> bytes:
    """Return a sign around the origin; the same bytes each time, so that they pack well."""
    ring = THIN_RING_MM if shape == "ring" else RING_MM
    r = (radius - ring / 2) * POINT_PER_MM
    line = b"%s RG %s rg %.3f w " % (_COLOURS[GREY if shape == "ring" else INK], _COLOURS[INK], ring * POINT_PER_MM)
    if shape == "diamond":
        return line + b"0 %.3f m %.3f 0 l 0 %.3f l %.3f 0 l s" % (r, -r, -r, r)
    drawn = line + _left(r) + _right(r) + (b" B" if shape == "disc" else b" S")
    if shape == "half":
        return drawn + b" " + _left(r) + b" h f"
    return drawn + b" " + _left(r * 0.4) + _right(r * 0.4) + b" f" if shape == "point" else drawn


def _left(r: float) -> bytes:
    """The left half of a circle around the origin, from its top to its foot; points."""
    k = r * _QUARTER
    return b"0 %.3f m %.3f %.3f %.3f %.3f %.3f 0 c %.3f %.3f %.3f %.3f 0 %.3f c" % (
        *(r, -k, r, -r, k, -r),
        *(-r, -k, -k, -r, -r),
    )


def _right(r: float) -> bytes:
    """The right half, from the foot back to the top; points."""
    k = r * _QUARTER
    return b" %.3f %.3f %.3f %.3f %.3f 0 c %.3f %.3f %.3f %.3f 0 %.3f c h" % (k, -r, r, -k, r, r, k, k, r, r)
