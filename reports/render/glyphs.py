"""Faces as a page of results needs them: each sign's glyph and width, and the fonts themselves, from one set sheet.

WeasyPrint sets every sign once on a sheet of its own, in every face; the sheet's PDF holds the fonts, and its content
says which glyph of which font each sign is. Rows of results are then drawn from that, a hundred times faster than they
are laid out. Scripts that join or reorder their signs are set whole, string by string.
"""

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from html import escape
from io import BytesIO

import pikepdf

from reports.render.printing import CannotPrint, lay_out

ALWAYS = "".join(map(chr, range(0x20, 0x7F))) + "\u00a0\u202f°±·×–−…≤≥µ"
"""Signs that every sheet holds, so that certificates share sheets; others are added where they occur."""
FACES = {
    "text": "400 10pt 'Atkinson Hyperlegible Next','Atkinson Hyperlegible Next Wider','Signs',sans-serif",
    "bold": "600 10pt 'Atkinson Hyperlegible Next','Atkinson Hyperlegible Next Wider','Signs',sans-serif",
    "mono": "400 10pt 'Atkinson Hyperlegible Mono','Atkinson Hyperlegible Mono Wider','Signs',monospace",
    "title": "500 10pt 'Newsreader','Newsreader Wider','Signs',serif",
    "italic": "italic 400 10pt 'Newsreader','Newsreader Wider','Signs',serif",
}
_STYLE = (
    "@page { size: 200mm 200mm; margin: 0; @top-left { content: none } @top-right { content: none }"
    " @bottom-left { content: none } @bottom-right { content: none } @bottom-center { content: none } }"
    " p { white-space: pre; font-kerning: none; font-variant-ligatures: none; }"
) + "".join(
    f".{name} {{ font: {font}; font-variant-numeric: tabular-nums lining-nums; }}" for name, font in FACES.items()
)


@dataclass(frozen=True)
class Run:
    """Part of a line in one font: the operand of TJ, and its width in em."""

    font: str
    shown: bytes
    width_em: float


class Glyphs:
    """All signs of a document in all faces."""

    def __init__(self, sheet: bytes, lines: Mapping[tuple[str, str], tuple[Run, ...]], wholes: frozenset[str]) -> None:
        self._sheet = sheet
        self._signs = {(face, text): runs[0] for (face, text), runs in lines.items() if len(text) == 1 and runs}
        self._wholes = {(face, text): runs for (face, text), runs in lines.items() if text in wholes}
        self._known: dict[tuple[str, str], tuple[Run, ...]] = {}

    def opened(self) -> BytesIO:
        """Return the PDF that holds the fonts."""
        return BytesIO(self._sheet)

    def runs(self, face: str, text: str) -> tuple[Run, ...]:
        """Return `text` as runs of glyphs. Raises CannotPrint where a sign was not asked for or has no glyph."""
        found = self._known.get((face, text))
        if found is None:
            found = self._wholes.get((face, text)) or self._joined(face, text)
            self._known[face, text] = found
        return found

    def width_em(self, face: str, text: str) -> float:
        """Return the width of a line, em."""
        return sum(run.width_em for run in self.runs(face, text))

    def _joined(self, face: str, text: str) -> tuple[Run, ...]:
        runs: list[Run] = []
        if not _is_simple(text):
            words = re.findall(r"\S+|\s+", text)
            return tuple(run for word in words for run in self.runs(face, word)) if len(words) > 1 else self._lost(text)
        for sign in text:
            one = self._signs.get((face, sign)) or self._lost(sign)[0]
            if runs and runs[-1].font == one.font:
                runs[-1] = Run(one.font, runs[-1].shown + one.shown, runs[-1].width_em + one.width_em)
            else:
                runs.append(one)
        return tuple(Run(run.font, b"<" + run.shown + b">", run.width_em) for run in runs)

    def _lost(self, text: str) -> tuple[Run, ...]:
        raise CannotPrint(sorted(set(text)))


def glyphs_for(texts: Iterable[tuple[str, str]]) -> Glyphs:
    """Return the glyphs of every (face, text). Raises PangoMissing or CannotPrint, as printing does."""
    signs: dict[str, set[str]] = {face: set() for face in FACES}
    wholes: set[tuple[str, str]] = set()
    for face, text in texts:
        if _is_simple(text):
            signs[face].update(text)
        elif nobodys := sorted({sign for sign in text if unicodedata.category(sign) in {"Co", "Cn", "Cs"}}):
            raise CannotPrint(nobodys)  # what they look like is each font's own affair
        else:
            wholes.update((face, part) for part in [text, *text.split()] if not _is_simple(part))
            signs[face].update(sign for part in re.split(r"(\s+)", text) if _is_simple(part) for sign in part)
    more = tuple((face, "".join(sorted(found - set(ALWAYS)))) for face, found in signs.items())
    return _sheet_of(more, tuple(sorted(wholes)))


def _is_simple(text: str) -> bool:
    """Tell whether each sign of a text stands for itself, from left to right, whatever stands beside it."""
    return text.isascii() or all(map(_stands_alone, text))


def _stands_alone(sign: str) -> bool:
    code = ord(sign)
    if code < 0x300 or 0x370 <= code < 0x590 or 0x1E00 <= code < 0x200B or 0x2010 <= code <= 0x2027:
        return True
    if unicodedata.category(sign) in {"Mn", "Mc", "Me", "Cf", "Cc", "Zl", "Zp"}:
        return False
    return 0x202F <= code < 0x2C00 or 0x3000 <= code < 0xA000 or 0xAC00 <= code < 0xD7A4 or 0xFF00 <= code < 0xFFF0


@lru_cache(maxsize=16)
def _sheet_of(more: tuple[tuple[str, str], ...], wholes: tuple[tuple[str, str], ...]) -> Glyphs:
    lines = [(face, ALWAYS + added) for face, added in more] + list(wholes)
    html = "".join(f'<p class="{face}">{escape(text)}</p>' for face, text in lines)
    link = '<link rel="stylesheet" href="certificate.css">'
    sheet = lay_out(f'<html lang="en"><head>{link}</head><body>{html}</body></html>', _STYLE).pdf(b"glyphs of a page")
    return _read(sheet, lines, frozenset(text for _, text in wholes))


def _read(sheet: bytes, lines: list[tuple[str, str]], wholes: frozenset[str]) -> Glyphs:
    """Read back which glyphs WeasyPrint set: one text matrix a line, one code a sign where signs stand alone."""
    with pikepdf.open(BytesIO(sheet)) as pdf:
        widths = {name: _widths(font) for name, font in pdf.pages[0].Resources.Font.items()}
        set_lines = [
            _runs(line, widths) for page in pdf.pages for line in re.split(rb" Tm\n", page.Contents.read_bytes())[1:]
        ]
    found: dict[tuple[str, str], tuple[Run, ...]] = {}
    for (face, text), runs in zip(lines, set_lines, strict=True):
        if text in wholes:
            found[face, text] = runs
            continue
        codes = [(run.font, code) for run in runs for code in re.findall(rb"[0-9a-f]{4}", run.shown)]
        for sign, (font, code) in zip(text, codes, strict=True):
            found[face, sign] = (Run(font, code, widths[font][int(code, 16)] / 1000),)
    return Glyphs(sheet, found, wholes)


def _runs(content: bytes, widths: Mapping[str, Mapping[int, float]]) -> tuple[Run, ...]:
    """Return the runs of one set line; numbers between glyphs move the pen, thousandths of an em to the left."""
    runs, font = [], ""
    for operation in re.finditer(rb"/(\S+) \S+ Tf|\[([^\]]*)\] TJ", content):
        if operation[1]:
            font = "/" + operation[1].decode()
            continue
        width = 0.0
        for glyphs, moved in re.findall(rb"<([0-9a-f]*)>|(-?[\d.]+)", operation[2]):
            codes = [int(glyphs[at : at + 4], 16) for at in range(0, len(glyphs), 4)]
            width += sum(widths[font][code] for code in codes) - float(moved or 0)
        runs.append(Run(font, operation[2], width / 1000))
    return tuple(runs)


def _widths(font: pikepdf.Object) -> dict[int, float]:
    """Return the widths of a font's glyphs, thousandths of an em, from its array W: first code, then widths."""
    array, found = list(font.DescendantFonts[0].W), {}
    for first, widths in zip(array[::2], array[1::2], strict=True):
        for step, width in enumerate(widths):
            found[int(first) + step] = float(width)
    return found
