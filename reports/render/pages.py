"""Pages of a PDF that is drawn on: new ones between those that were set, and content laid behind and over each."""

import pikepdf
from pikepdf import Array, Dictionary, Name, Pdf, Stream

from reports.render.canvas import POINT_PER_MM, PREFIX, Canvas
from reports.render.furniture import Furniture, Paper
from reports.render.glyphs import Glyphs
from reports.render.tagging import Tags


class PageMaker:
    """All pages of a certificate under the pen."""

    def __init__(self, pdf: Pdf, glyphs: Glyphs, paper: Paper, furniture: Furniture) -> None:
        self.pdf = pdf
        self.paper = paper
        self._glyphs = glyphs
        self._furniture = furniture
        self._canvases: dict[int, Canvas] = {}
        self._fonts = self._take_fonts()

    def insert_pages(self, at: int, count: int, tags: Tags) -> None:
        """Put empty pages before the page that stands at `at`."""
        size = (self.paper.width * POINT_PER_MM, self.paper.height * POINT_PER_MM)
        for number in range(at, at + count):
            box = Array([0, 0, round(size[0], 4), round(size[1], 4)])
            page = pikepdf.Page(self.pdf.make_indirect(Dictionary(Type=Name.Page, MediaBox=box)))
            self.pdf.pages.insert(number, page)
            tags.new_page(self.pdf.pages[number])

    def canvas(self, page: int, marked: int = 0) -> Canvas:
        """Return what is drawn over the page at `page`, on which `marked` marks stand already."""
        return self._canvases.setdefault(page, Canvas(self._glyphs, self.paper.height, marked))

    def finish(self) -> None:
        """Set what runs along, and put everything that was drawn on its page."""
        pages = len(self.pdf.pages)
        for number, page in enumerate(self.pdf.pages):
            behind = Canvas(self._glyphs, self.paper.height)
            self._furniture.behind(behind, self.paper)
            over = self.canvas(number)
            self._furniture.around(over, self.paper, number, pages)
            self._put(page, behind.content, over.content)
            self._add_fonts(page)

    def _put(self, page: pikepdf.Page, behind: list[bytes], over: list[bytes]) -> None:
        old = page.obj.get("/Contents")
        if old is None:
            page.obj.Contents = self.pdf.make_indirect(Stream(self.pdf, b"\n".join([*behind, *over])))
            return
        before = Stream(self.pdf, b"\n".join([*behind, b"q"]))
        after = Stream(self.pdf, b"\n".join([b"Q", *over]))
        page.obj.Contents = Array([self.pdf.make_indirect(before), old, self.pdf.make_indirect(after)])

    def _add_fonts(self, page: pikepdf.Page) -> None:
        if "/Resources" not in page.obj:
            page.obj.Resources = self._own_resources
        elif "/Font" in page.obj.Resources:
            for name, font in self._fonts.items():
                page.obj.Resources.Font[name] = font
        else:
            page.obj.Resources.Font = Dictionary(self._fonts)

    def _take_fonts(self) -> dict[str, pikepdf.Object]:
        with pikepdf.open(self._glyphs.opened()) as sheet:
            fonts = {
                f"/{PREFIX}{name[1:]}": self.pdf.copy_foreign(sheet.make_indirect(font))
                for name, font in sheet.pages[0].Resources.Font.items()
            }
        for font in fonts.values():
            _rename(font)
        self._own_resources = self.pdf.make_indirect(Dictionary(Font=Dictionary(fonts)))
        return fonts


def _rename(font: pikepdf.Object) -> None:
    """Give a subset of a font a tag of its own, since the page may hold another subset (ISO 32000-1, 9.6.4)."""
    inner = font.DescendantFonts[0]
    tag, _, name = str(font.BaseFont)[1:].partition("+")
    own = Name(f"/{''.join(chr((ord(letter) - 64) % 26 + 65) for letter in tag)}+{name}")
    font.BaseFont = inner.BaseFont = inner.FontDescriptor.FontName = own
