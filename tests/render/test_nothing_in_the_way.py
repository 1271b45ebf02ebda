"""Certificates with too much of everything: nothing lies over anything else, nothing is cut, no page is left empty.

Signs are taken with their boxes from the drawn page, so that what is looked at is what a reader sees.
"""

from collections.abc import Callable
from dataclasses import replace

import pytest

from reports.document import CertificateDocument, Remark
from reports.render.pdf import render_certificate
from reports.render.printing import CannotPrint
from reports.rules.qualifiers import assign_letters
from tests.render import documents
from tests.render.reading import beyond_edges, glyph_boxes, overlaps, pages

LONG_NAME = "Consolidated Ninefold Ridge Exploration, Drilling and Reclamation Partnership (Northern District), " * 2
EIGHTY = "NRD014 between 112.0 and 113.0 m, second half, quartz vein with sulphides, bag 7"
UNBROKEN = "NRD014-112.0-113.0-B7-QUARTZ-VEIN-SULPHIDES-SECOND-HALF-COARSE-REJECT-NORTH-DRIVE"[:80]
TOLD = (
    "The control sample was outside its limits; thereupon it was accepted, since the parent held more than was added. "
)


def _with_identification(text: str, analytes: int = 8) -> CertificateDocument:
    document = documents.certificate(analytes, 6, conformity=True)
    return replace(document, rows=tuple(replace(row, client_identification=text) for row in document.rows))


def _with_client(text: str) -> CertificateDocument:
    return replace(documents.certificate(8, 60), client=text, client_address=(text,), laboratory=text)


def _with_notes(count: int, words: str, samples: int) -> CertificateDocument:
    """A certificate with `count` notes, one to a result, in the order of the results."""
    document = documents.certificate(8, samples)
    letters = assign_letters(f"Note {number}: {words}" for number in range(count))
    waiting = iter(letters.values())
    rows = tuple(
        replace(row, cells=tuple(replace(cell, mark=next(waiting, "")) for cell in row.cells)) for row in document.rows
    )
    remarks = tuple(Remark(letter, text) for text, letter in letters.items())
    return replace(document, rows=rows, remarks=remarks)


CROWDED: dict[str, Callable[[], CertificateDocument]] = {
    "a client with a long name": lambda: _with_client(LONG_NAME),
    "80 signs of identification": lambda: _with_identification(EIGHTY),
    "80 signs without a space": lambda: _with_identification(UNBROKEN),
    "80 signs beside twelve columns": lambda: _with_identification(EIGHTY, 12),
    "from right to left": lambda: _with_identification("דגימה 7 שלום"),
    "ideographs": lambda: _with_identification("標本十二号、北側坑道" * 4),
    "a client from right to left": lambda: _with_client("مختبر الوادي"),
    "a client in ideographs": lambda: _with_client("北側坑道試験所株式会社"),
    "a remark of 2,000 signs": lambda: _with_notes(1, TOLD * 18, 8),
    "200 notes": lambda: _with_notes(200, TOLD, 60),
    "more notes than a page holds": lambda: _with_notes(8, TOLD * 18, 2),
    "results in words": lambda: documents.with_limits_of_their_own(12, 30),
    "45 analytes": lambda: documents.certificate(45, 40),
    "everything else": documents.everything,
}


@pytest.mark.parametrize("which", CROWDED)
def test_nothing_is_in_the_way_of_anything(which: str) -> None:
    try:
        pdf = render_certificate(CROWDED[which]())
    except CannotPrint as refused:
        pytest.skip(f"no font of this machine has {refused.signs}")
    assert overlaps(pdf) == []
    assert beyond_edges(pdf) == []


def test_the_look_for_overlaps_sees_one() -> None:
    document = documents.certificate(8, 3)
    assert overlaps(render_certificate(document)) == []
    assert overlaps(render_certificate(replace(document, number="PREVIEW"))) != []  # the word across each page


@pytest.mark.parametrize(("count", "times", "samples"), [(1, 18, 8), (200, 1, 60), (8, 18, 2)])
def test_every_note_is_printed_to_its_last_word(count: int, times: int, samples: int) -> None:
    words = " ".join(pages(render_certificate(_with_notes(count, TOLD * times, samples)))).split()
    assert words.count("thereupon") >= count * times  # where there is no room, its beginning stands beside it too
    assert [number for number in range(count) if f"{number}:" not in words] == []


@pytest.mark.parametrize("text", [EIGHTY, UNBROKEN])
def test_an_identification_is_printed_to_its_last_sign(text: str) -> None:
    document = _with_identification(text)
    printed = "".join("".join(pages(render_certificate(document))).split())
    assert printed.count("".join(text.split())) == len(document.rows)


@pytest.mark.parametrize("samples", range(22, 32))
def test_no_page_is_empty(samples: int) -> None:
    """The room on the first page ends somewhere here: whatever is left goes on, and no page is left blank."""
    for signs in glyph_boxes(render_certificate(documents.certificate(6, samples))):
        assert len(signs) > 150  # what runs along has some 60


@pytest.mark.parametrize(
    ("analytes", "samples"), [(6, 3), (6, 24), (8, 14), (8, 60), (12, 40), (24, 3), (24, 12), (24, 40)]
)
def test_pages_are_filled(analytes: int, samples: int) -> None:
    """What is left at the foot of a page is less than what follows needs: the signatures take a third of one.

    Tables that are several begin a page each, so that the page before them is not looked at.
    """
    pdf = render_certificate(documents.certificate(analytes, samples))
    texts = pages(pdf)
    for number, signs in enumerate(glyph_boxes(pdf)[:-1]):
        if "Results, part" in texts[number + 1].partition("Sample")[0]:
            continue
        height = 297 if analytes <= 8 else 210
        lowest = min(box[1] for _, box in signs if box[1] > 20)
        assert lowest < 0.45 * height, f"page {number + 1} ends {lowest:.0f} mm above the lower edge"


def test_parts_of_a_short_certificate_share_a_page() -> None:
    texts = pages(render_certificate(documents.certificate(24, 3)))
    assert any("Results, part 1 of 2" in text and "Results, part 2 of 2" in text for text in texts)
