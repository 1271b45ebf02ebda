"""Which samples stand on which page: as many as fit, with the head above them and the remarks that they need below."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class PagePart:
    """Samples `start` to `end` (from 0, without `end`) of a sheet on one page, and the letters that need a remark.

    below_mm: how far it stands below the table before it on the same page; None where it begins a page.
    """

    sheet: int
    start: int
    end: int
    marks: frozenset[str]
    height_mm: float
    below_mm: float | None = None


FEWEST = 3
"""Fewer samples than this neither begin a table at the foot of a page nor end it at the head of one."""


def part_sheet(
    sheet: int,
    heights: Sequence[float],
    marks: Sequence[frozenset[str]],
    head_mm: float,
    remarks_mm: Callable[[frozenset[str]], float],
    rooms: tuple[float, float],
) -> list[PagePart]:
    """Part the samples of a sheet, whose heights and letters are given, over pages.

    head_mm: height of caption and head; remarks_mm: height of the remarks on given letters; rooms: height that is free
    on the first page and on each page after it, all in mm. A sample higher than a page stands alone on one.
    """

    def part(start: int, end: int) -> PagePart:
        found = frozenset[str]().union(*marks[start:end])
        return PagePart(sheet, start, end, found, head_mm + sum(heights[start:end]) + remarks_mm(found))

    parts: list[PagePart] = []
    start, room = 0, rooms[0]
    while True:
        end = _fitting(start, room, heights, marks, head_mm, remarks_mm, at_least=room >= rooms[1])
        if not parts and room < rooms[1] and end - start < min(FEWEST, len(heights)):
            room = rooms[1]  # the table begins on the next page
            continue
        if 0 < len(heights) - end < FEWEST and end - start >= 2 * FEWEST:
            end = len(heights) - FEWEST  # no row alone on the last page
        parts.append(part(start, end))
        start, room = end, rooms[1]
        if start >= len(heights):
            return parts


def _fitting(
    start: int,
    room: float,
    heights: Sequence[float],
    marks: Sequence[frozenset[str]],
    head_mm: float,
    remarks_mm: Callable[[frozenset[str]], float],
    at_least: bool,
) -> int:
    """Return the end of the samples from `start` on that fit; at_least: one of them, however high it is."""
    end, tall, found = start, head_mm, frozenset[str]()
    while end < len(heights):
        more = found | marks[end]
        if tall + heights[end] + remarks_mm(more) > room and (end > start or not at_least):
            break
        tall, found, end = tall + heights[end], more, end + 1
    return end


def by_page(parts: Sequence[PagePart]) -> list[list[PagePart]]:
    """Return the parts that stand on each page."""
    pages: list[list[PagePart]] = []
    for part in parts:
        if part.below_mm is None or not pages:
            pages.append([])
        pages[-1].append(part)
    return pages


def height_mm(page: Sequence[PagePart]) -> float:
    """Return the height of all that stands on one page."""
    return sum((part.below_mm or 0.0) + part.height_mm for part in page)
