"""What stands around the content of each page: whose it is, its number, page x of y, and a word across where needed."""

from dataclasses import dataclass
from math import atan2, degrees, hypot

from reports.render.canvas import GREY, POINT_PER_MM, Canvas

_BASELINE_EM = 0.33


@dataclass(frozen=True)
class Paper:
    """A page, mm. `top` is of every page but the first."""

    width: float
    height: float
    first_top: float
    top: float
    bottom: float
    side: float = 18.0

    def room(self, first: bool = False) -> float:
        """Return the height that content has."""
        return self.height - self.bottom - (self.first_top if first else self.top)


UPRIGHT = Paper(210.0, 297.0, 15.0, 22.0, 20.0)
LANDSCAPE = Paper(297.0, 210.0, 15.0, 16.0, 15.0)


@dataclass(frozen=True)
class Furniture:
    """The words around each page. `loud`: a word after the number; `across`: one that is set large and pale, or ""."""

    client: str
    laboratory: str
    name: str
    loud: str
    across: str

    def words(self) -> list[tuple[str, str]]:
        """Return every (face, text) that may be set."""
        return [
            ("italic", self.client + self.laboratory + "…"),
            ("mono", self.name + ", "),
            ("bold", self.loud + self.across),
            ("text", "page of 0123456789"),
        ]

    def behind(self, canvas: Canvas, paper: Paper) -> None:
        """Set the word across the page, before anything else, so that it lies behind the text."""
        if not self.across:
            return
        diagonal = hypot(paper.width, paper.height)
        size = min(0.62 * diagonal * POINT_PER_MM / canvas.glyphs.width_em("bold", self.across), 150.0)
        slope = degrees(atan2(paper.height, paper.width))
        canvas.begin_artifact(furniture=True)
        canvas.slanted(paper.width / 2, paper.height / 2, size, self.across, slope)
        canvas.end()

    def around(self, canvas: Canvas, paper: Paper, page: int, pages: int) -> None:
        """Set the words in the margins of page `page` (from 0) of `pages`."""
        top, bottom = paper.top / 2, paper.height - paper.bottom / 2
        right = paper.width - paper.side
        canvas.begin_artifact(furniture=True)
        whole = canvas.width("mono", 8.0, self.name) + ((self.loud and self._loud_mm(canvas)) or 0.0)
        if page:
            self._short(canvas, self.client, top, right - paper.side - whole - 8.0, paper.side)
            self._number(canvas, right - whole, top)
        self._short(canvas, self.laboratory, bottom, (right - paper.side - whole) / 2 - 4.0, paper.side)
        if not page:
            self._number(canvas, (paper.width - whole) / 2, bottom)
        text = f"page {page + 1} of {pages}"
        canvas.text(right - canvas.width("text", 8.0, text), _down(bottom, 8.0), "text", 8.0, text)
        canvas.end()

    def _number(self, canvas: Canvas, x: float, middle: float) -> None:
        y = _down(middle, 8.0)
        canvas.text(x, y, "mono", 8.0, self.name)
        if self.loud:
            x += canvas.width("mono", 8.0, self.name)
            canvas.text(x, y, "mono", 8.0, ", ")
            canvas.text(x + canvas.width("mono", 8.0, ", "), y, "bold", 8.0, self.loud)

    def _loud_mm(self, canvas: Canvas) -> float:
        return canvas.width("mono", 8.0, ", ") + canvas.width("bold", 8.0, self.loud)

    def _short(self, canvas: Canvas, text: str, middle: float, room: float, x: float) -> None:
        """Set a name, cut with … where it would run into the number."""
        kept = text
        while kept and canvas.width("italic", 9.0, kept + "…" * (kept != text)) > room:
            kept = kept[:-1]
        canvas.text(x, _down(middle, 9.0), "italic", 9.0, kept + "…" * (kept != text), GREY)


def _down(middle: float, size: float) -> float:
    return middle + _BASELINE_EM * size / POINT_PER_MM
