"""The structure of a certificate for screen readers: tables that say which head is whose, and nothing without a name.

Clauses are of ISO 14289-1 (PDF/UA-1) and ISO 32000-1, numbers and titles from memory.
"""

import re
from collections.abc import Iterator
from typing import Any

import pikepdf
from pikepdf import Array, Dictionary, Name, Object, Pdf, String

POINT_PER_PX = 0.75
_MARK = rb"/\w+\s*<<\s*/MCID %d\s*>>\s*BDC"
_DISSOLVED = {"/NonStruct", "/Sect", "/Div"}
"""Wrappers that say nothing of themselves; what they hold goes up to their parent. Sections begin with a heading."""


class Tags:
    """The structure tree of a PDF, and which element each mark on each page belongs to."""

    def __init__(self, pdf: Pdf) -> None:
        self.pdf = pdf
        self.root = pdf.Root.StructTreeRoot
        self.document = self.root.K[0]
        numbers = list(self.root.ParentTree.Nums)
        self.of_page: dict[int, list[Object]] = {
            int(key): list(elements) for key, elements in zip(numbers[::2], numbers[1::2], strict=True)
        }
        self.ids: dict[str, Object] = {}

    def new_page(self, page: pikepdf.Page) -> None:
        """Give a page that was drawn a place in the tree of marks."""
        page.obj.StructParents = max(self.of_page, default=-1) + 1
        page.obj.Tabs = Name.S
        self.of_page[page.obj.StructParents] = []

    def element(self, kind: str, parent: Object, **more: Any) -> Object:
        """Make an element below `parent`; the caller puts it among the parent's children."""
        return self.pdf.make_indirect(Dictionary(Type=Name.StructElem, S=Name("/" + kind), P=parent, K=Array(), **more))

    def mark(self, element: Object, page: Object, number: int) -> None:
        """Say that mark `number` of a page is all that `element` holds; marks come in the order of their numbers."""
        found = self.of_page[int(page.StructParents)]
        if number != len(found):
            raise ValueError(f"mark {number} of a page that has {len(found)}")
        found.append(element)
        element.Pg, element.K = page, number

    def marks_on(self, page: Object) -> int:
        """Return how many marks a page has."""
        return len(self.of_page[int(page.StructParents)])

    def insert(self, at: int, elements: list[Object]) -> None:
        """Put elements among the document's, before the one that stands at `at`."""
        held = list(self.document.K)
        self.document.K = Array([*held[:at], *elements, *held[at:]])

    def close(self) -> None:
        """Write the tree of marks and the tree of identifiers (ISO 32000-1, 14.7.2: IDTree where elements have ID)."""
        numbers = Array()
        for key, elements in sorted(self.of_page.items()):
            numbers.extend([key, self.pdf.make_indirect(Array(elements))])
        self.root.ParentTree = self.pdf.make_indirect(Dictionary(Nums=numbers))
        self.root.ParentTreeNextKey = max(self.of_page, default=-1) + 1
        if self.ids:
            self.root.IDTree = self._name_tree(sorted(self.ids))

    def _name_tree(self, names: list[str]) -> Object:
        leaves = []
        for at in range(0, len(names), 64):
            some = names[at : at + 64]
            pairs = Array([part for name in some for part in (String(name), self.ids[name])])
            limits = Array([String(some[0]), String(some[-1])])
            leaves.append(self.pdf.make_indirect(Dictionary(Limits=limits, Names=pairs)))
        return self.pdf.make_indirect(Dictionary(Kids=Array(leaves)))


def tidy(tags: Tags) -> int:
    """Put right what WeasyPrint tagged; return where in the document the empty room for drawn results stands.

    Wrappers dissolve, heads of tables get a scope (7.5, Tables) and identifiers of their own, figures their box in
    points from the lower left (7.3, Graphics; ISO 32000-1, 14.8.5.4.3).
    """
    flat: list[Object] = []
    spot = None
    for child in tags.document.K:
        if child.S == "/Div" and len(child.K) == 0 and spot is None:
            spot = len(flat)
        flat.extend(_tidied(child, tags.document, tags))
    tags.document.K = Array(flat)
    return len(flat) if spot is None else spot


def set_furniture_apart(tags: Tags) -> None:
    """Make artifacts of what runs along in the margins (14289-1, 7.1; 32000-1, 14.8.2.2): marked last, held by nobody.

    WeasyPrint marks it as content, but hangs it on no element of the document.
    """
    held = {element.objgen for element in _every(tags.document)}
    for page in tags.pdf.pages:
        found = tags.of_page[int(page.obj.StructParents)]
        content = page.obj.Contents.read_bytes()
        while found and found[-1].objgen not in held:
            found.pop()
            content = re.sub(_MARK % len(found), b"/Artifact <</Type /Pagination>> BDC", content)
        page.obj.Contents = tags.pdf.make_stream(content)


def _every(element: Object) -> Iterator[Object]:
    """Yield an element and all below it."""
    yield element
    for kid in _held(element):
        if isinstance(kid, Dictionary) and "/S" in kid:
            yield from _every(kid)


def _tidied(element: Object, parent: Object, tags: Tags) -> list[Object]:
    kids = element.get("/K", Array())
    held = list(kids) if isinstance(kids, Array) else [kids]
    dissolved = str(element.S) in _DISSOLVED and not any(isinstance(kid, int) for kid in held)
    above = parent if dissolved else element
    below: list[Object] = []
    for kid in held:
        below.extend([kid] if isinstance(kid, int) else _tidied(kid, above, tags))
    if dissolved:
        return below
    if not below and str(element.S) not in {"/TD", "/TH"}:
        return []
    if str(element.S) == "/NonStruct":
        element.S = Name.Span
    element.P = parent
    element.K = below[0] if len(below) == 1 else Array(below)
    if element.S == "/Table":
        _head_cells(element, tags)
    elif element.S == "/Figure":
        _figure_box(element)
    return [element]


def _head_cells(table: Object, tags: Tags) -> None:
    """Give each head a scope and an identifier that no other table has, and say them again in the cells below."""
    prefix = f"w{len(tags.ids):05d}-"
    known: dict[str, str] = {}
    cells = list(_cells(table))
    for cell, section in cells:
        if cell.S == "/TH":
            cell.A.Scope = Name.Column if section == "/THead" else Name.Row
            old = str(cell.get("/ID", ""))
            known[old] = f"{prefix}{len(known):04d}"
            cell.ID = String(known[old])
            tags.ids[known[old]] = cell
    for cell, _ in cells:
        if cell.S == "/TD":
            heads = [known[str(old)] for old in cell.A.get("/Headers", Array()) if str(old) in known]
            if heads:
                cell.A.Headers = Array(map(String, heads))
            elif "/Headers" in cell.A:
                del cell.A["/Headers"]


def _cells(table: Object) -> Iterator[tuple[Object, str]]:
    for part in _held(table):
        if part.S in ("/THead", "/TBody", "/TFoot"):
            for row in _held(part):
                yield from ((cell, str(part.S)) for cell in _held(row))
        elif part.S == "/TR":
            yield from ((cell, "/TBody") for cell in _held(part))


def _held(element: Object) -> list[Object]:
    kids = element.get("/K", Array())
    return list(kids) if isinstance(kids, Array) else [kids]


def _figure_box(figure: Object) -> None:
    """Turn the box of a figure from pixels below the upper edge into points above the lower one, on the page."""
    width, height = (float(edge) for edge in figure.Pg.MediaBox[2:])
    left, top, right, bottom = (float(edge) * POINT_PER_PX for edge in figure.A.BBox)
    box = ((left, width), (height - bottom, height), (right, width), (height - top, height))
    figure.A.BBox = Array([max(0.0, min(round(edge, 3), most)) for edge, most in box])
    figure.A.Placement = Name.Block


class TableTags:
    """The table of one sheet, over all pages on which it stands."""

    def __init__(self, tags: Tags, number: int) -> None:
        self._tags = tags
        self._prefix = f"t{number:02d}-"
        self.table = tags.element("Table", tags.document)
        self._parts: dict[str, Object] = {}
        self._row = self.table
        self._rows = 0
        self._heads: dict[int, list[str]] = {}
        self._row_heads: list[str] = []

    def caption(self) -> Object:
        """Return the element of the caption."""
        return self._below(self.table, "Caption")

    def row(self, part: str) -> "TableTags":
        """Begin a row of the "THead" or "TBody"."""
        if part not in self._parts:
            self._parts[part] = self._below(self.table, part)
        self._row = self._below(self._parts[part], "TR")
        self._rows += 1
        self._row_heads = []
        return self

    def cell(self, column: int, span: int, heads: str) -> Object:
        """Return the element of a cell of the row that was begun last; `heads` is "row", "column" or ""."""
        about = Dictionary(O=Name.Table)
        if span > 1:
            about.ColSpan = span
        if heads:
            name = f"{self._prefix}{self._rows:05d}-{column:03d}"
            about.Scope = Name.Row if heads == "row" else Name.Column
            found = self._below(self._row, "TH", A=about, ID=String(name))
            self._tags.ids[name] = found
            if heads == "row":
                self._row_heads.append(name)
            else:
                self._heads.setdefault(column, []).append(name)
            return found
        about.Headers = Array(map(String, [*self._row_heads, *self._heads.get(column, [])]))
        return self._below(self._row, "TD", A=about)

    def _below(self, parent: Object, kind: str, **more: Any) -> Object:
        made = self._tags.element(kind, parent, **more)
        parent.K.append(made)
        return made
