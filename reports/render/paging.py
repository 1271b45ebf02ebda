"""Which samples stand on which page: as many as fit, with the head above them and the remarks that they need below."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class PagePart:
    """Samples `start` to `end` (from 0, without `end`) of a sheet on one page, and the letters that need a remark."""

    sheet: int
    start: int
    end: int
    marks: frozenset[str]
    height_mm: float


FEWEST = 3
"""Fewer samples than this do not begin a table at the foot of a page."""


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
    parts: list[PagePart] = []
    start, room = 0, rooms[0]
    while True:
        end, tall, found = start, head_mm, frozenset[str]()
        while end < len(heights):
            more = found | marks[end]
            if tall + heights[end] + remarks_mm(more) > room and (end > start or room < rooms[1]):
                break
            tall, found, end = tall + heights[end], more, end + 1
        if not parts and room < rooms[1] and end - start < min(FEWEST, len(heights)):
            room = rooms[1]  # the table begins on the next page
            continue
        parts.append(PagePart(sheet, start, end, found, tall + remarks_mm(found)))
        start, room = end, rooms[1]
        if start >= len(heights):
            return parts
