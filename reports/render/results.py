"""The tables of results, parted over pages, then drawn; head and remarks stand on each page that needs them."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace

from pikepdf import Object

from reports.document import Remark
from reports.render.bands import SMALL, Band, Grid
from reports.render.canvas import GREY, INK, POINT_PER_MM, Canvas
from reports.render.glyphs import Glyphs
from reports.render.measure import wrap_by
from reports.render.paging import PagePart, part_sheet
from reports.render.row_words import CONTINUED, IN_FULL_BELOW
from reports.render.sheets import Layout, Printed
from reports.render.stated import RADIUS_MM, SIGNS, Said, key_to_signs, kind_of
from reports.render.tagging import TableTags, Tags

CAPTION_PT, CAPTION_MM = 11.5, 6.3
TOP_RULE, FOOT_RULE = 0.5, 0.25
REMARK_LEAD, REMARK_GAP = 3.7, 1.6
BETWEEN_MM = 7.0
"""What sets a table apart from another one above it on the same page."""
UNBOUNDED_MM = 1e9
_STATED = "stated: "
"""Begins the mark of a statement among those of remarks."""


@dataclass
class Pen:
    """Draws on one page, and says what each thing is."""

    canvas: Canvas
    page: Object
    tags: Tags
    left: float
    width: float

    @contextmanager
    def says(self, element: Object | None) -> Iterator[Canvas]:
        """What is drawn inside is what `element` holds; without one it is furniture of the page."""
        if element is None:
            self.canvas.begin_artifact(furniture=True)
        else:
            self.tags.mark(element, self.page, self.canvas.begin(str(element.S)[1:]))
        yield self.canvas
        self.canvas.end()

    def rule(self, y: float, thickness: float, colour: str = INK) -> None:
        """Draw a rule as wide as the table."""
        self.canvas.begin_artifact()
        self.canvas.rule(self.left, self.left + self.width, y, thickness, colour)
        self.canvas.end()

    def band(self, band: Band, top: float, table: TableTags | None) -> None:
        """Draw a row, its rule and the bars of changed values; without a table it repeats what was said before."""
        if table is None:
            with self.says(None):
                for box in band.boxes:
                    self._pieces(box.pieces, top)
        else:
            self._cells(band, top, table)
        thickness, colour = band.rule
        if thickness:
            self.rule(top + band.height - thickness / 2, thickness, colour)
        for box in band.boxes:
            if box.bar is not None:
                self.canvas.begin_artifact()
                self.canvas.box(self.left + box.bar, top + 0.4, 0.7, band.height - 0.8)
                self.canvas.end()

    def _cells(self, band: Band, top: float, table: TableTags) -> None:
        for box in band.boxes:
            element = table.cell(box.column, box.span, box.heads)
            if box.sign or any(piece.text for piece in box.pieces):
                with self.says(element):
                    self._pieces(box.pieces, top)
                    if box.sign:
                        with self.canvas.read_as(box.sign.words):
                            self.sign(box.sign.x, top + box.sign.y, SIGNS[kind_of(box.sign.words)])

    def sign(self, x: float, y: float, shape: str) -> None:
        """Draw the sign of a statement."""
        self.canvas.sign(self.left + x, y, RADIUS_MM, shape)

    def _pieces(self, pieces: Sequence[tuple[float, float, str, float, str, str]], top: float) -> None:
        for x, y, face, size, text, colour in pieces:
            self.canvas.text(self.left + x, top + y, face, size, text, colour)


class Results:
    """All tables of a certificate; rows are made when they are needed, so that few are held."""

    def __init__(self, layout: Layout, remarks: Sequence[Remark], glyphs: Glyphs, conformity_head: str) -> None:
        self.layout = layout
        self._glyphs = glyphs
        self._grids = [Grid(layout, sheet, glyphs, conformity_head) for sheet in layout.sheets]
        self._heads = [grid.head() for grid in self._grids]
        self._heights = [
            [sum(band.height for band in self._line(number, at)) for at in range(len(grid.sheet.lines))]
            for number, grid in enumerate(self._grids)
        ]
        self._marks = [
            [frozenset(mark for cell in line.cells for mark in _marks(cell)) for line in grid.sheet.lines]
            for grid in self._grids
        ]
        self._keys: dict[frozenset[str], tuple[Said, ...]] = {}
        self._indent = max([self._wide("italic", 8.5, remark.mark) for remark in remarks], default=0.0) + 1.2
        self._remarks = [(remark, self._lines_of(remark)) for remark in remarks]

    def shorten_remarks(self) -> None:
        """Print the beginning of each long remark only: for a sample with more of them than a page holds."""
        self._remarks = [(remark, [self._beginning(lines)]) for remark, lines in self._remarks]

    def _beginning(self, lines: list[str]) -> str:
        words = lines[0]
        if len(lines) == 1:
            return words
        while self._wide("text", SMALL, words + IN_FULL_BELOW) > self.layout.width_mm - self._indent:
            words = words.rpartition(" ")[0] or words[:-1]
        return words.rstrip() + IN_FULL_BELOW

    def parts(self, first_room: float, room: float) -> list[PagePart]:
        """Part all tables over pages; the first has `first_room`, mm, on its first page, each other page has `room`.

        Of several tables each begins a page, so that the same sample stands at the same place of each, unless the
        whole of it fits on what is left of one.
        """
        found: list[PagePart] = []
        left, gap = first_room, 0.0
        several = len(self._grids) > 1
        for number in range(len(self._grids)):
            (whole,) = self._parts(number, (UNBOUNDED_MM, UNBOUNDED_MM))
            if gap + whole.height_mm <= left:
                found.append(replace(whole, below_mm=gap) if found else whole)
                left -= gap + whole.height_mm
            else:
                found += self._parts(number, (room if several else first_room, room))
                left = room - found[-1].height_mm
            gap = BETWEEN_MM
        return found

    def _parts(self, number: int, rooms: tuple[float, float]) -> list[PagePart]:
        head = CAPTION_MM + TOP_RULE + sum(band.height for band in self._heads[number]) + FOOT_RULE
        return part_sheet(number, self._heights[number], self._marks[number], head, self._below_mm, rooms)

    def draw(self, pen: Pen, top: float, part: PagePart, tags: "SheetTags") -> None:
        """Draw a part with its upper edge at `top`; heads and remarks that were said before are artifacts."""
        first = part.start == 0
        if first:
            tags.begin()
        table = tags.table
        caption = self._grids[part.sheet].sheet.caption
        with pen.says(table.caption() if first else None) as canvas:
            canvas.text(pen.left, top + 3.9, "title", CAPTION_PT, caption if first else caption + CONTINUED)
        y = top + CAPTION_MM + TOP_RULE
        pen.rule(y - TOP_RULE, TOP_RULE)
        for band in self._heads[part.sheet]:
            pen.band(band, y, table.row("THead") if first else None)
            y += band.height
        for at in range(part.start, part.end):
            for band in self._line(part.sheet, at):
                pen.band(band, y, table.row("TBody"))
                y += band.height
        pen.rule(y - FOOT_RULE / 2, FOOT_RULE)
        self._draw_remarks(pen, self._draw_key(pen, y + FOOT_RULE, part, tags), part, tags)

    def _draw_key(self, pen: Pen, top: float, part: PagePart, tags: "SheetTags") -> float:
        """Draw what the signs of the part mean; return where it ends."""
        key = self._key(part.marks)
        if not key:
            return top
        with pen.says(tags.remark(_STATED + " ".join(said.text for said in key))) as canvas:
            for said in key:
                y = top + REMARK_GAP + said.line * REMARK_LEAD + 2.8
                canvas.text(pen.left + said.text_x, y, "text", SMALL, said.text, GREY)
                if said.sign:
                    pen.sign(said.x + RADIUS_MM, y - 0.9, said.sign)
        return top + self._key_mm(part.marks)

    def _draw_remarks(self, pen: Pen, top: float, part: PagePart, tags: "SheetTags") -> None:
        for remark, lines in self._needed(part.marks):
            top += REMARK_GAP
            with pen.says(tags.remark(remark.mark)) as canvas:
                canvas.text(pen.left, top + 2.3, "italic", 8.5, remark.mark)
                for line in lines:
                    canvas.text(pen.left + self._indent, top + 2.8, "text", SMALL, line, GREY)
                    top += REMARK_LEAD

    def _line(self, sheet: int, at: int) -> tuple[Band, ...]:
        grid = self._grids[sheet]
        return grid.line(at, at == len(grid.sheet.lines) - 1)

    def _key(self, marks: frozenset[str]) -> tuple[Said, ...]:
        """Return the key to the signs that stand on a page with these marks."""
        stated = frozenset(mark.removeprefix(_STATED) for mark in marks if mark.startswith(_STATED))
        if stated not in self._keys:
            width = self.layout.width_mm
            self._keys[stated] = key_to_signs(stated, lambda text: self._wide("text", SMALL, text), width)
        return self._keys[stated]

    def _key_mm(self, marks: frozenset[str]) -> float:
        key = self._key(marks)
        return REMARK_GAP + REMARK_LEAD * (key[-1].line + 1) if key else 0.0

    def _needed(self, marks: frozenset[str]) -> Iterator[tuple[Remark, list[str]]]:
        return ((remark, lines) for remark, lines in self._remarks if remark.mark in marks)

    def _below_mm(self, marks: frozenset[str]) -> float:
        """Return the height of what stands below a table: the key to its signs, and the remarks."""
        remarks = sum(REMARK_GAP + REMARK_LEAD * len(lines) for _, lines in self._needed(marks))
        return self._key_mm(marks) + remarks

    def _lines_of(self, remark: Remark) -> list[str]:
        room = self.layout.width_mm - self._indent
        if self._wide("text", SMALL, remark.text) <= room:
            return [remark.text]
        return wrap_by(remark.text, lambda line: self._wide("text", SMALL, line), room)

    def _wide(self, face: str, size: float, text: str) -> float:
        return self._glyphs.width_em(face, text) * size / POINT_PER_MM


def _marks(cell: Printed) -> Iterator[str]:
    """Yield what a cell needs below its table: the letter of each remark, and its statement."""
    if cell.mark:
        yield from cell.mark.split(", ")
    if cell.statement:
        yield _STATED + kind_of(cell.statement)


class SheetTags:
    """Where the tables of all sheets, and the remarks below them, stand in the structure."""

    def __init__(self, tags: Tags) -> None:
        self._tags = tags
        self._tables: list[TableTags] = []
        self._told: set[str] = set()
        self.elements: list[Object] = []

    @property
    def table(self) -> TableTags:
        """The table that was begun last."""
        return self._tables[-1]

    def begin(self) -> None:
        """Begin the table of the next sheet."""
        self._tables.append(TableTags(self._tags, len(self._tables)))
        self.elements.append(self.table.table)
        self._told = set()

    def remark(self, mark: str) -> Object | None:
        """Return the element of a remark below the table; None where it was told on a page before."""
        if mark in self._told:
            return None
        self._told.add(mark)
        self.elements.append(self._tags.element("P", self._tags.document))
        return self.elements[-1]
