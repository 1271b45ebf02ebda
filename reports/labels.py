"""Label sheets: where labels stand on a page, which of them, and what stands on each. Lengths in mm. Pure."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from labresults.terms import Hazard

PAGES_MM: Mapping[str, tuple[float, float]] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height of papers, mm: ISO 216:2007 (A4); 8.5 in × 11 in of 25.4 mm (Letter, common practice, no source)."""

ROUNDING_MM = 0.05
"""Sizes are typed to a tenth of a millimetre: half of that is no overlap."""


SHORT: Mapping[str, str] = {
    Hazard.ASBESTOS: "asbestos",
    Hazard.RADIOACTIVE: "radioactive",
    Hazard.CYANIDE: "cyanide: no acid",
    Hazard.BIOLOGICAL: "germs",
}
"""Hazards in fewer letters, where the vocabulary's own words are long."""


class CannotLayOut(ValueError):
    """The labels do not fit on the page. `problems`: the field and what is wrong with it, in words."""

    def __init__(self, problems: Sequence[tuple[str, str]]) -> None:
        super().__init__(" ".join(words for _, words in problems))
        self.problems = tuple(problems)


class NotOfThese(LookupError):
    """What was asked for is not among the labels at hand."""


@dataclass(frozen=True)
class Place:
    """Where one label stands: page from 0, left and top edge in mm."""

    page: int
    x_mm: float
    y_mm: float


@dataclass(frozen=True)
class Layout:
    """Labels on a page, all of one size, row by row. Pairs are (across, down), mm."""

    page_mm: tuple[float, float]
    label_mm: tuple[float, float]
    columns: int = 1
    rows: int = 1
    first_mm: tuple[float, float] = (0.0, 0.0)
    step_mm: tuple[float, float] = (0.0, 0.0)

    @property
    def a_page(self) -> int:
        """How many labels a page holds."""
        return self.columns * self.rows

    def place(self, index: int) -> Place:
        """Return where the label with this index (from 0) stands."""
        page, on_page = divmod(index, self.a_page)
        row, column = divmod(on_page, self.columns)
        return Place(page, self.first_mm[0] + column * self.step_mm[0], self.first_mm[1] + row * self.step_mm[1])


@dataclass(frozen=True)
class Span:
    """One direction of a grid: so many labels, the margins before and after them, the gap between, mm.

    `size_mm`: of one label; None: what is left, shared out evenly. `field`: where a problem belongs.
    """

    count: int
    before_mm: float
    after_mm: float
    gap_mm: float
    size_mm: float | None
    field: str
    words: str  # across, down

    def fit(self, page_mm: float) -> tuple[float, str]:
        """Return the size of one label, and what does not fit in words (empty: it fits)."""
        room = page_mm - self.before_mm - self.after_mm
        gaps = (self.count - 1) * self.gap_mm
        if self.size_mm is None:
            left = room - gaps
            if left > 0:
                return left / self.count, ""
            return 0.0, (
                f"Margins and gaps {self.words} take {_mm(page_mm - left)} mm of the page's {_mm(page_mm)} mm: "
                "nothing is left for labels. Make them smaller."
            )
        over = self.count * self.size_mm + gaps - room
        if over <= ROUNDING_MM:
            return self.size_mm, ""
        return self.size_mm, (
            f"{self.count} {self.words}, {_mm(self.size_mm)} mm each, with gaps of {_mm(self.gap_mm)} mm, need "
            f"{_mm(self.count * self.size_mm + gaps)} mm; between the margins there are {_mm(room)} mm: {_mm(over)} mm "
            "too many. Make labels, gaps or margins smaller."
        )


def grid(page_mm: tuple[float, float], across: Span, down: Span) -> Layout:
    """Return the layout of a sheet. Raises CannotLayOut naming each direction that overflows, and by how many mm."""
    (width, too_wide), (height, too_high) = across.fit(page_mm[0]), down.fit(page_mm[1])
    problems = [(span.field, words) for span, words in ((across, too_wide), (down, too_high)) if words]
    if problems:
        raise CannotLayOut(problems)
    return Layout(
        page_mm,
        (width, height),
        across.count,
        down.count,
        (across.before_mm, down.before_mm),
        (width + across.gap_mm, height + down.gap_mm),
    )


def single(width_mm: float, height_mm: float) -> Layout:
    """Return the layout of a roll: one label a page, as large as the label."""
    return Layout((width_mm, height_mm), (width_mm, height_mm))


@dataclass(frozen=True)
class Label:
    """One label. `code` is what a scanner reads: a laboratory number or a tube's label, and nothing else.

    `kind`: a word that tells two bottles of one kind apart ("field filtered", "tube 3"); `heavy`: white on black.
    `hazards`: short words; `matter`: matrix and preservation; `foot`: submission and due day.
    """

    number: str
    code: str
    client_identification: str
    kind: str = ""
    heavy: bool = False
    hazards: tuple[str, ...] = ()
    matter: str = ""
    foot: str = ""


@dataclass(frozen=True)
class LabelSheet:
    """Labels in the order in which they are peeled off. `start`: the first free place of a part-used sheet, from 1."""

    title: str
    laboratory: str
    layout: Layout
    labels: tuple[Label, ...]
    start: int = 1
    cut_lines: bool = False

    @property
    def pages(self) -> int:
        """How many pages are printed."""
        return -(-(self.start - 1 + len(self.labels)) // self.layout.a_page) if self.labels else 0

    @property
    def next_start(self) -> int:
        """The first free place of the last page, from 1; 1 where it is full."""
        return (self.start - 1 + len(self.labels)) % self.layout.a_page + 1

    def places(self) -> list[tuple[Label, Place]]:
        """Return each label with its place."""
        return [(label, self.layout.place(at)) for at, label in enumerate(self.labels, start=self.start - 1)]


def choose(written: str, numbers: Sequence[str]) -> list[int]:
    """Return indexes of the labels that are meant: numbers, rows from 1, ranges of either ("3, 7-9"; "N-01 to N-04").

    Parts are told apart by commas or lines, or by spaces. Nothing written means all.
    Raises NotOfThese naming what is not there.
    """
    at = {number: index for index, number in enumerate(numbers)}
    at |= {str(row): row - 1 for row in range(1, len(numbers) + 1) if str(row) not in at}
    parts = [part.strip() for part in re.split(r"[,;\n]", written) if part.strip()]
    chosen, missing = set() if parts else set(range(len(numbers))), []
    for part in parts:
        found = _range(part, at) or [index for word in part.split() for index in _range(word, at)]
        chosen.update(found)
        missing += [] if found and _all_there(part, at) else [part]
    if missing:
        raise NotOfThese(
            f"Not here: {', '.join(missing)}. Write numbers or rows (1 to {len(numbers)}), for example 3, 7-9."
        )
    return sorted(chosen)


def _range(part: str, at: Mapping[str, int]) -> range:
    """Indexes that one part means, a number, a row or a range; empty where it means none."""
    if part in at:
        return range(at[part], at[part] + 1)
    match = re.fullmatch(r"(\d+)\s*[-–]\s*(\d+)|(\S.*?)\s+to\s+(\S.*)", part)
    first, last = [at.get(end) for end in match.groups() if end is not None] if match else [None, None]
    return range(0) if first is None or last is None else range(first, last + 1)


def _all_there(part: str, at: Mapping[str, int]) -> bool:
    """Whether a part means something as a whole, or each of its words does: labels of tubes hold a space."""
    return bool(_range(part, at)) or all(_range(word, at) for word in part.split())


def _mm(length: float) -> str:
    return f"{length:.1f}".removesuffix(".0")
