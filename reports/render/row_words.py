"""Every text that the tables of results may set, so that one sheet can hold all their glyphs."""

from collections.abc import Iterator, Sequence

from reports.document import Remark
from reports.render.bands import ONE_LINE
from reports.render.sheets import Layout, Sheet
from reports.render.stated import words_of_key

CONTINUED = ", continued"
IN_FULL_BELOW = " … (in full under “Remarks in full”)"


def words_of(layout: Layout, conformity_head: str) -> Iterator[tuple[str, str]]:
    """Yield every (face, text) that the rows of a layout may set."""
    seen: set[tuple[str, str]] = set()
    for sheet in layout.sheets:
        for pair in _words(sheet, conformity_head):
            if pair not in seen:
                seen.add(pair)
                yield pair


def _words(sheet: Sheet, conformity_head: str) -> Iterator[tuple[str, str]]:
    yield "title", sheet.caption
    yield "bold", conformity_head
    for head in sheet.heads:
        yield from (("bold", text) for text, _ in head.formula)
        yield from (
            ("text", t)
            for t in (head.unit, head.basis, head.method, head.rules, head.detection_limit, head.quantification_limit)
        )
    for line in sheet.lines:
        yield "mono", line.number
        yield "bold", line.group
        yield from (("text", t.translate(ONE_LINE)) for t in (line.client_identification, line.note, line.conformity))
        yield from (("bold", line.conformity),)
        for cell in line.cells:
            yield "text", cell.text
            yield "italic", cell.mark
        for below in line.below:
            yield from (("text", text) for text in (below.label, *below.texts))


def words_of_remarks(remarks: Sequence[Remark]) -> Iterator[tuple[str, str]]:
    """Yield every (face, text) that remarks and captions may set."""
    yield "title", CONTINUED
    yield from (("text", words) for words in (*words_of_key(), IN_FULL_BELOW))
    for remark in remarks:
        yield "italic", remark.mark
        yield "text", remark.text
