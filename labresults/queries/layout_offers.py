"""Which of the saved layouts fit a file: offered, and never chosen for anybody."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Max

from labresults.acts import BadInput
from labresults.models import Equipment, Layout, ReadingFile
from labresults.queries.run_imports import layouts, specification_of
from labresults.readers.read import read
from labresults.readers.workbook import SIGNATURE

_HEAD_BYTES = 64 * 1024
"""The headings and the first rows say whether a layout fits: a file of text is read no further for that."""


@dataclass(frozen=True)
class Offers:
    """The layouts that can be chosen, the likeliest first, and the names of those whose headings are in the file."""

    layouts: tuple[Layout, ...]
    fitting: tuple[Layout, ...]


def known_layouts(instrument: Equipment) -> tuple[Layout, ...]:
    """Saved layouts, newest versions only, those first that this instrument's files came in lately; two queries."""
    used = ReadingFile.objects.filter(run__instrument=instrument).values_list("layout__name")
    last = dict(used.annotate(newest=Max("pk")).values_list("layout__name", "newest"))
    newest = {layout.name: layout for layout in reversed(layouts())}
    return tuple(sorted(newest.values(), key=lambda layout: (-last.get(layout.name, 0), layout.name)))


def offers(content: bytes, filename: str, known: Sequence[Layout]) -> Offers:
    """Try the layouts on the first rows of a file; no query. Of a workbook, only the first one that fits is named."""
    fitting = []
    is_workbook = content.startswith(SIGNATURE)
    head = content if is_workbook else _head(content)
    for layout in known:
        if _fits(head, filename, layout):
            fitting.append(layout)
            if is_workbook:
                break
    return Offers(tuple(known), tuple(fitting))


def _fits(head: bytes, filename: str, layout: Layout) -> bool:
    try:
        return bool(read(head, filename, specification_of(layout)).readings)
    except BadInput:
        return False  # a layout of former days that cannot be applied any more


def _head(content: bytes) -> bytes:
    """The first rows, whole: the row at which the cut falls is left out."""
    if len(content) <= _HEAD_BYTES:
        return content
    head = content[:_HEAD_BYTES]
    end = max(head.rfind(b"\n"), head.rfind(b"\r"))
    end += (end + 1) % 2 if content.startswith((b"\xff\xfe", b"\xfe\xff")) else 0  # UTF-16: two bytes a letter
    return head[: end + 1] if end > 0 else head
