"""Certificate to PDF: the document's strings, set in type. Nothing is rounded, decided or looked up here.

WeasyPrint sets what is around the results, and leaves them room; the results themselves are drawn sign by sign.
"""

import gc
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from hashlib import sha256
from io import BytesIO

import pikepdf

from reports.document import CertificateDocument
from reports.render.archive import Attachment, archive
from reports.render.frame import Block, about, frame_html, name_of, word_across
from reports.render.furniture import LANDSCAPE, UPRIGHT, Furniture, Paper
from reports.render.glyphs import glyphs_for
from reports.render.pages import PageMaker
from reports.render.paging import PagePart, by_page, height_mm
from reports.render.printing import Pages, lay_out
from reports.render.results import UNBOUNDED_MM, Pen, Results, SheetTags
from reports.render.row_words import words_of, words_of_remarks
from reports.render.sheets import Layout
from reports.render.sheets import lay_out as lay_sheets
from reports.render.tagging import Tags, tidy

Progress = Callable[[int, int], None]
"""Called with the parts that are done and the parts in all."""
PAGES_A_PART = 10
_SLACK_MM = 0.3
"""What a block is lower than the room for it, so that rounding pushes nothing to the next page."""


def render_certificate(
    document: CertificateDocument, attachments: Sequence[Attachment] = (), progress: Progress | None = None
) -> bytes:
    """Return the certificate as PDF (A4, PDF/A-3u and PDF/UA-1); the same document gives the same bytes.

    attachments: files to carry inside. progress: told of each ten pages of results. Raises PangoMissing where type
    cannot be set, CannotPrint where a sign of the document has no glyph.
    """
    with _no_collector():
        return _render(document, attachments, progress or (lambda done, parts: None))


def _render(document: CertificateDocument, attachments: Sequence[Attachment], progress: Progress) -> bytes:
    layout = lay_sheets(document)
    paper = LANDSCAPE if layout.landscape else UPRIGHT
    furniture = _furniture(document)
    words = [*words_of(layout, document.conformity_head), *words_of_remarks(document.remarks), *furniture.words()]
    glyphs = glyphs_for(words)
    results = Results(layout, document.remarks, glyphs, document.conformity_head)
    pages, parts = _compose(document, layout, results, paper)
    steps = 2 + len(parts) // PAGES_A_PART
    progress(1, steps)
    identifier = sha256(document.to_json().encode()).digest()[:16]
    with pikepdf.open(BytesIO(pages.pdf(identifier, "pdf/a-3u"))) as pdf:
        maker = PageMaker(pdf, glyphs, paper, furniture)
        _draw(maker, results, parts, pages, lambda done: progress(1 + done // PAGES_A_PART, steps))
        made = archive(pdf, about(document), attachments)
    progress(steps, steps)
    return made


def _compose(
    document: CertificateDocument, layout: Layout, results: Results, paper: Paper
) -> tuple[Pages, list[PagePart]]:
    """Set what is around the results, and part them over pages.

    Tried first with all results in one block. Where that does not stand on the page on which the head ends, the room
    there is known then, and the results are parted. Of several tables too long for that page, nothing is tried. Where
    the remarks of one sample are more than a page holds, they begin below it and stand in full further below.
    """
    full = paper.room() - _SLACK_MM
    in_full = any(part.height_mm > full for part in results.parts(full, full))
    if in_full:
        results.shorten_remarks()
    html = partial(frame_html, document, layout, remarks_in_full=in_full)
    whole = results.parts(UNBOUNDED_MM, UNBOUNDED_MM)
    if len(layout.sheets) > 1 and whole[0].height_mm > full:
        parts = results.parts(0.0, full)
        return lay_out(html(_blocks(parts, new_page=True))), parts
    fits = height_mm(whole) <= full
    trial = lay_out(html(_blocks(whole, new_page=False) if fits else []))
    page, y = trial.places()["head-end"]
    if fits and trial.places()["results"][0] == page:
        return trial, whole
    left = paper.height - paper.bottom - y - _SLACK_MM
    parts = results.parts(left, full)
    return lay_out(html(_blocks(parts, new_page=parts[0].height_mm > left))), parts


def _blocks(parts: Sequence[PagePart], new_page: bool) -> list[Block]:
    """Return the room that is left: for the first part of the results, and for the last, which begins a page."""
    pages = by_page(parts)
    blocks = [Block("results", f"{height_mm(pages[0]):.3f}", new_page)]
    return blocks if len(pages) == 1 else [*blocks, Block("rest", f"{height_mm(pages[-1]):.3f}", True)]


def _draw(
    maker: PageMaker, results: Results, parts: Sequence[PagePart], pages: Pages, progress: Callable[[int], None]
) -> None:
    """Draw each part of the results: the first and the last where room was left, the others on pages of their own."""
    places = pages.places()
    tags = Tags(maker.pdf)
    spot = tidy(tags)
    sheets = SheetTags(tags)
    begin, top = places["results"]
    on_pages = by_page(parts)
    maker.insert_pages(begin + 1, max(len(on_pages) - 2, 0), tags)
    for at, on_page in enumerate(on_pages):
        page = maker.pdf.pages[begin + at].obj
        canvas = maker.canvas(begin + at, tags.marks_on(page))
        pen = Pen(canvas, page, tags, maker.paper.side, results.layout.width_mm)
        last = at == len(on_pages) - 1 and at > 0
        y = places["rest"][1] if last else maker.paper.top if at else top
        for part in on_page:
            results.draw(pen, y + (part.below_mm or 0.0), part, sheets)
            y += height_mm([part])
        progress(at + 1)
    tags.insert(spot, sheets.elements)
    tags.close()
    maker.finish()


def _furniture(document: CertificateDocument) -> Furniture:
    loud = "PRELIMINARY" if document.preliminary else ""
    return Furniture(document.client, document.laboratory, name_of(document), loud, word_across(document))


@contextmanager
def _no_collector() -> Iterator[None]:
    """Let circular garbage lie while a certificate is drawn: looking for it takes a quarter of the time."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()
