"""Rows of a table of results as they are drawn: every string at its place, in mm from the left and from the row's top.

Measures are those of the certificate's style sheet, so that what is drawn and what WeasyPrint sets look alike.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import NamedTuple

from reports.render.canvas import FIFTH, GREY, INK, POINT_PER_MM, RULE
from reports.render.figures import DIGIT_EM, POINT_EM, Formula, decimals, is_number, joined, words_of_formula
from reports.render.glyphs import Glyphs
from reports.render.measure import wrap_by
from reports.render.sheets import (
    CONFORMITY_MM,
    LANDSCAPE_CONFORMITY_MM,
    NUMBER_MM,
    Below,
    Head,
    Layout,
    Line,
    Printed,
    Sheet,
)
from reports.render.stated import RADIUS_MM, ROOM_MM, kind_of

SMALL, SMALL_LEAD = 7.5, 3.18
SUBSCRIPT = 0.72
GAP = 1.1  # between a column's edge and its figures, mm
LAST_MARK = 1.6  # room for the letter of a remark beyond the last column, mm
_BASELINE_EM = 0.33  # from the middle of a line down to its baseline


class Piece(NamedTuple):
    """A string at its place: x and baseline in mm, face, size in pt, colour."""

    x: float
    y: float
    face: str
    size: float
    text: str
    colour: str = INK


class Sign(NamedTuple):
    """The sign of a statement: its middle in mm, and the statement."""

    x: float
    y: float
    words: str


class Box(NamedTuple):
    """One cell: its strings, the first of its columns, how many it spans, what it heads ("row", "column" or "")."""

    pieces: tuple[Piece, ...]
    column: int
    span: int = 1
    heads: str = ""
    bar: float | None = None  # where a changed value's bar stands
    sign: Sign | None = None


class Band(NamedTuple):
    """One row: its height, its cells, and the rule below it (thickness in mm, colour)."""

    height: float
    boxes: tuple[Box, ...]
    rule: tuple[float, str]


@dataclass(frozen=True)
class Setting:
    """Sizes of a table: type in pt, lead and padding of a row in mm."""

    size: float
    lead: float
    padding: float
    conformity: float


UPRIGHT = Setting(8.5, 4.26, 0.95, CONFORMITY_MM)
LANDSCAPE = Setting(8.0, 3.53, 0.5, LANDSCAPE_CONFORMITY_MM)
HAIR, FINE, MIDDLE = (0.12, RULE), (0.25, INK), (0.25, FIFTH)
NO_RULE = (0.0, INK)


class Grid:
    """Where the columns of one sheet stand, and the rows of that sheet."""

    def __init__(self, layout: Layout, sheet: Sheet, glyphs: Glyphs, conformity_head: str) -> None:
        self.setting = LANDSCAPE if layout.landscape else UPRIGHT
        self.sheet = sheet
        self.width = layout.width_mm
        self._glyphs = glyphs
        self._long = layout.long_identification
        self._conformity_head = conformity_head or "Conformity"
        self._conformity = self.setting.conformity if sheet.has_conformity else 0.0
        needed = sum(head.width_mm for head in sheet.heads)
        spare = self.width - NUMBER_MM - layout.identification_mm - needed - self._conformity
        share = max(spare, 0.0) / (len(sheet.heads) + 1)
        self._identification = layout.identification_mm + share
        first = NUMBER_MM + self._identification
        edges = [first + width for width in accumulate(head.width_mm + share for head in sheet.heads)]
        self._rights = [edge - GAP - head.marks_mm for edge, head in zip(edges, sheet.heads, strict=True)]
        if self._rights and not sheet.has_conformity:
            self._rights[-1] -= LAST_MARK - GAP / 2
        self._widths = [head.width_mm - head.marks_mm + share - 2 * GAP for head in sheet.heads]

    def head(self) -> tuple[Band, ...]:
        """Return the rows of the head: names and units, methods, both limits."""
        s, heads = self.setting, self.sheet.heads
        limits: list[tuple[str, list[str], str]] = [
            ("Method", [head.method for head in heads], GREY),
            ("Reporting rules", [head.rules for head in heads], GREY),
            ("Quantification limit", [head.quantification_limit for head in heads], GREY),
            ("Detection limit", [head.detection_limit for head in heads], INK),
        ]
        shown = [(label, texts, colour) for label, texts, colour in limits if any(texts)]
        bands = [self._names()]
        for number, (label, texts, colour) in enumerate(shown):
            last = number == len(shown) - 1
            boxes = [Box((self._left(0.0, 0.3, label, colour),), 0, 2, "row")]
            for at, (text, head) in enumerate(zip(texts, heads, strict=True)):
                point = head.point if "limit" in label else 0
                boxes.append(Box(tuple(self._figure(text, at, point, 0.3, colour)), at + 2))
            bands.append(Band(s.lead + (1.5 if last else 0.6), tuple(self._closed(boxes)), FINE if last else NO_RULE))
        return tuple(bands)

    def line(self, number: int, last: bool) -> tuple[Band, ...]:
        """Return the rows of the sample at `number` (from 0) of the sheet; they stand together on one page."""
        line = self.sheet.lines[number]
        ends = FINE if last else MIDDLE if number % 5 == 4 else HAIR
        bands = [self._group(line.group)] if line.group else []
        last_below = len(line.below) - 1
        below = [self._below(one, ends if at == last_below else NO_RULE) for at, one in enumerate(line.below)]
        free = max(sum(band.height for band in below) - self.setting.padding, 0.0)  # beside them, for statements
        return (*bands, self._sample(line, NO_RULE if below else ends, free), *below)

    def _sample(self, line: Line, rule: tuple[float, str], free_mm: float) -> Band:
        s = self.setting
        top = s.padding
        boxes = [Box((self._left(0.0, top, line.number, face="mono", size=s.size * 0.95),), 0, 1, "row")]
        names = self._wrapped("text", s.size, line.client_identification, self._identification - 2 * GAP)
        identification = [self._left(NUMBER_MM + GAP, top + at * s.lead, name) for at, name in enumerate(names)]
        tall = len(names) * s.lead
        for note in self._wrapped("text", SMALL, line.note, self._identification - 2 * GAP) if line.note else []:
            identification.append(self._small(NUMBER_MM + GAP, top + tall, note, "text", GREY))
            tall += SMALL_LEAD
        boxes.append(Box(tuple(identification), 1))
        for at, (cell, head) in enumerate(zip(line.cells, self.sheet.heads, strict=True)):
            box, height = self._cell(cell, at, head.point, top)
            boxes.append(box)
            tall = max(tall, height)
        if self.sheet.has_conformity:
            face, left = "bold" if line.conforms is False else "text", self.width - self._conformity + 3.0
            words = self._wrapped(face, SMALL, line.conformity, self._conformity - 3.0 - GAP)
            shift = (s.lead - SMALL_LEAD) / 2
            pieces = [self._small(left, top + shift + at * SMALL_LEAD, word, face) for at, word in enumerate(words)]
            boxes.append(Box(tuple(pieces), len(line.cells) + 2))
            tall = max(tall, shift + len(words) * SMALL_LEAD - free_mm)
        return Band(top + tall + (0.1 if rule is NO_RULE else s.padding), tuple(boxes), rule)

    def _cell(self, cell: Printed, at: int, point: int, top: float) -> tuple[Box, float]:
        """Return a result's cell, and its height."""
        bar = self._rights[at] + GAP if cell.changed else None
        if not cell.text or is_number(cell.text):
            sign = self._sign(cell, at, top, self.sheet.heads[at].figures_em * self.setting.size / POINT_PER_MM)
            return Box(tuple(self._figure(cell.text, at, point, top, mark=cell.mark)), at + 2, bar=bar, sign=sign), 0.0
        room = self._widths[at] - (ROOM_MM if kind_of(cell.statement) else 0.0)
        words = self._wrapped("text", SMALL, cell.text, room)
        shift = (self.setting.lead - SMALL_LEAD) / 2
        pieces = []
        for row, word in enumerate(words):
            x = self._rights[at] - self._width("text", SMALL, word)
            pieces.append(self._small(x, top + shift + row * SMALL_LEAD, word, "text"))
        if cell.mark:
            pieces.append(self._mark(self._rights[at], pieces[-1].y, cell.mark))
        sign = self._sign(cell, at, top, max(self._width("text", SMALL, word) for word in words))
        return Box(tuple(pieces), at + 2, bar=bar, sign=sign), shift + len(words) * SMALL_LEAD

    def _sign(self, cell: Printed, at: int, top: float, beside_mm: float) -> Sign | None:
        """Return the sign of a cell's statement, left of what is `beside_mm` wide."""
        if not kind_of(cell.statement):
            return None
        x = self._rights[at] - beside_mm - (ROOM_MM - RADIUS_MM)
        return Sign(x, top + self.setting.lead / 2, cell.statement)

    def _below(self, below: Below, rule: tuple[float, str]) -> Band:
        s = self.setting
        x = NUMBER_MM + self._identification - 3.0 - self._width("text", SMALL, below.label)
        boxes = [
            Box((self._small(max(x, 0.0), 0.1 + (s.lead - SMALL_LEAD) / 2, below.label, "text", GREY),), 0, 2, "row")
        ]
        for at, (text, head) in enumerate(zip(below.texts, self.sheet.heads, strict=True)):
            boxes.append(Box(tuple(self._figure(text, at, head.point, 0.1, GREY)), at + 2))
        return Band(0.1 + s.lead + (0.1 if rule is NO_RULE else s.padding), tuple(self._closed(boxes)), rule)

    def _group(self, submission: str) -> Band:
        s = self.setting
        columns = len(self.sheet.heads) + 2 + self.sheet.has_conformity
        piece = self._left(0.0, s.padding + 1.0, f"Submission {submission}", face="bold")
        return Band(s.lead + 2 * s.padding + 1.0, (Box((piece,), 0, columns, "row"),), MIDDLE)

    def _names(self) -> Band:
        """Return the first row of the head; what is short stands at its foot."""
        s = self.setting
        unit = SMALL * 1.42 / POINT_PER_MM
        stacks = [
            [head.unit, *self._wrapped("text", SMALL, head.basis, self._widths[at])]
            for at, head in enumerate(self.sheet.heads)
        ]
        stacks = [[text for text in stack if text] for stack in stacks]
        conformity = (
            self._wrapped("bold", s.size, self._conformity_head, self._conformity - 3.0 - GAP)
            if self._conformity
            else []
        )
        names = [self._name_lines(head, self._widths[at]) for at, head in enumerate(self.sheet.heads)]
        heights = [s.lead * len(name) + unit * len(stack) for name, stack in zip(names, stacks, strict=True)]
        tall = max([*heights, s.lead * len(conformity), s.lead])
        foot = 1.4 + tall - s.lead
        boxes = [
            Box((self._left(0.0, foot, "Sample", face="bold"),), 0, 1, "column"),
            Box((self._left(NUMBER_MM + GAP, foot, "Your own", face="bold"),), 1, 1, "column"),
        ]
        for at, (name, stack) in enumerate(zip(names, stacks, strict=True)):
            top = 1.4 + tall - s.lead - unit * len(stack)  # of the last line of the name
            pieces = []
            for up, line in enumerate(reversed(name)):
                pieces = [*self._formula(line, self._rights[at], top - up * s.lead), *pieces]
            for row, text in enumerate(stack):
                x = self._rights[at] - self._width("text", SMALL, text)
                y = top + s.lead + row * unit + unit / 2 + _BASELINE_EM * SMALL / POINT_PER_MM
                pieces.append(Piece(x, y, "text", SMALL, text, GREY))
            boxes.append(Box(tuple(pieces), at + 2, 1, "column"))
        if conformity:
            left, top = self.width - self._conformity + 3.0, 1.4 + tall - s.lead * len(conformity)
            words = [self._left(left, top + row * s.lead, text, face="bold") for row, text in enumerate(conformity)]
            boxes.append(Box(tuple(words), len(self.sheet.heads) + 2, 1, "column"))
        return Band(1.4 + tall + 0.6, tuple(boxes), NO_RULE)

    def _name_lines(self, head: Head, width: float) -> list[Formula]:
        """Return what stands over a column in as many lines as it needs, broken between words."""
        lines: list[Formula] = []
        for word in words_of_formula(head.formula):
            longer = joined(lines[-1], word) if lines else word
            if lines and sum(self._formula_widths(longer)) <= width:
                lines[-1] = longer
            else:
                lines.append(word)
        return lines

    def _formula_widths(self, formula: Formula) -> list[float]:
        size = self.setting.size
        return [self._width("bold", size * SUBSCRIPT if below else size, text) for text, below in formula]

    def _formula(self, formula: Formula, right: float, top: float) -> Iterator[Piece]:
        size = self.setting.size
        widths = self._formula_widths(formula)
        x, y = right - sum(widths), self._baseline(top)
        for (text, below), width in zip(formula, widths, strict=True):
            of = size * SUBSCRIPT if below else size
            yield Piece(x, y + below * 0.16 * size / POINT_PER_MM, "bold", of, text)
            x += width

    def _closed(self, boxes: list[Box]) -> list[Box]:
        """Add the empty cell of the column of statements, where there is one."""
        return [*boxes, Box((), len(self.sheet.heads) + 2)] if self.sheet.has_conformity else boxes

    def _figure(self, text: str, at: int, point: int, top: float, colour: str = INK, mark: str = "") -> Iterator[Piece]:
        """Yield a figure, its point under the column's, and the letters of its remarks beside it."""
        if not text:
            return
        size, own = self.setting.size, decimals(text)
        missing = max(point - own, 0) if own is not None else 0
        away = missing * DIGIT_EM + (POINT_EM if missing and own == 0 else 0.0)
        right = self._rights[at] - away * size / POINT_PER_MM
        y = self._baseline(top)
        yield Piece(right - self._width("text", size, text), y, "text", size, text, colour)
        if mark:
            yield self._mark(right, y, mark)

    def _mark(self, x: float, y: float, mark: str) -> Piece:
        return Piece(x + 0.3, y - 0.5, "italic", 8.5, mark)

    def _left(
        self, x: float, top: float, text: str, colour: str = INK, face: str = "text", size: float | None = None
    ) -> Piece:
        return Piece(x, self._baseline(top), face, size or self.setting.size, text, colour)

    def _small(self, x: float, top: float, text: str, face: str, colour: str = INK) -> Piece:
        return Piece(x, top + SMALL_LEAD / 2 + _BASELINE_EM * SMALL / POINT_PER_MM, face, SMALL, text, colour)

    def _baseline(self, top: float) -> float:
        return top + self.setting.lead / 2 + _BASELINE_EM * self.setting.size / POINT_PER_MM

    def _width(self, face: str, size: float, text: str) -> float:
        return self._glyphs.width_em(face, text) * size / POINT_PER_MM

    def _wrapped(self, face: str, size: float, text: str, width: float) -> Sequence[str]:
        """Return the lines of a text; one that fits stays whole, spaces and all."""
        text = text.translate(ONE_LINE)
        if not text or self._width(face, size, text) <= width:
            return [text]
        return wrap_by(text, lambda line: self._width(face, size, line), width)


ONE_LINE = str.maketrans(dict.fromkeys("\t\n\r\v\f\x85\u2028\u2029", " "))
