"""Labels as they are printed: every code read back from a picture of the PDF, nothing cut without a sign."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.labels import PAGES_MM, Label, LabelSheet, Layout, Span, grid, single
from reports.render.label_placing import BOX_MM, LEAST_PT, MODULE_MM, QUIET, PlacedLabel, TooSmall, place
from reports.render.labels import render_labels
from reports.render.measure import elide, largest_pt, width_mm, wrap
from reports.render.qr import modules_of, qr_path
from tests.render.papers import SHEET, labels
from tests.render.reading import codes, fonts, pages, sizes_mm

LETTER = grid(
    PAGES_MM["Letter"], Span(3, 5, 5, 3, None, "columns", "across"), Span(10, 12.7, 12.7, 0, None, "rows", "")
)
FULL = Label(
    "KF26-04175", "KF26-04175", "TW-03 Eel Quay, 24 h", "field filtered", True, ("toxic", "corrosive"),
    "river water; nitric acid, pH 2", "S26-0325, due Thu 19 Nov",
)  # fmt: skip


@pytest.mark.parametrize(
    ("count", "layout", "start", "sheets", "page_mm"),
    [
        (24, SHEET, 1, 1, (210, 297)),
        (25, SHEET, 1, 2, (210, 297)),
        (24, SHEET, 2, 2, (210, 297)),
        (31, LETTER, 1, 2, (216, 279)),
        (3, single(50, 25), 1, 3, (50, 25)),
        (2, single(25, 10), 1, 2, (25, 10)),
        (2, single(20, 40), 1, 2, (20, 40)),
    ],
    ids=["24-up", "one more", "part-used", "Letter", "50 × 25", "25 × 10", "upright"],
)
def test_every_code_of_every_sheet_gives_its_number_back(
    count: int, layout: Layout, start: int, sheets: int, page_mm: tuple[int, int]
) -> None:
    sheet = labels(count, layout, start=start)
    pdf = render_labels(sheet)
    assert sizes_mm(pdf) == [page_mm] * sheets
    assert codes(pdf, dots_per_inch=300) == sorted(label.code for label in sheet.labels)
    assert all("page" not in text for text in pages(pdf))  # a label sheet has nothing but labels
    assert all(fonts(pdf).values())


def test_500_labels_on_many_sheets_give_500_numbers_back() -> None:
    made = tuple(Label(f"KF26-{at:05d}", f"KF26-{at:05d}", f"NRD016 {at}.0 m") for at in range(1, 501))
    pdf = render_labels(LabelSheet("500", "Kestrel Flat Laboratory", SHEET, made))
    assert len(sizes_mm(pdf)) == 21
    assert codes(pdf) == [label.code for label in made]


def test_all_words_of_a_label_are_in_the_file_and_two_bottles_are_told_apart() -> None:
    (text,) = pages(render_labels(labels(2)))
    assert text.count("KF26-04175 TW-00 Eel Quay, 24 h") == 2
    for words in ("unfiltered", "field filtered", "river water; nitric acid, pH 2", "S26-0325, due Thu 19 Nov"):
        assert words in text


def test_cut_lines_are_drawn_only_where_they_are_wanted() -> None:
    assert render_labels(labels(3)) == render_labels(labels(3))
    assert render_labels(labels(3, cut_lines=True)) != render_labels(labels(3))


def told(placed: PlacedLabel, style: str) -> str:
    return "".join(line.text for line in placed.texts if line.style == style)


@pytest.mark.parametrize("size", [(64, 34), (38, 21.2), (50, 25), (25, 10), (20, 40), (100, 50)])
def test_everything_stands_inside_the_label_and_clear_of_the_code(size: tuple[float, float]) -> None:
    width, height = size
    placed = place(FULL, width, height)
    clear = QUIET * placed.code_mm / placed.modules
    assert placed.code_mm / placed.modules >= MODULE_MM
    assert min(placed.code_x_mm, placed.code_y_mm) >= clear - 1e-9
    for line in placed.texts:
        assert line.size_pt >= LEAST_PT
        beside = line.x_mm - BOX_MM / 2 >= placed.code_x_mm + placed.code_mm + clear - BOX_MM
        below = line.y_mm >= placed.code_y_mm + placed.code_mm + clear - 1e-9
        assert beside or below, line
        assert line.x_mm + line.width_mm <= width, line
        assert line.y_mm + line.height_mm <= height, line
    assert told(placed, "number") == FULL.number
    assert told(placed, "hazard") == "toxic, corrosive"


@pytest.mark.parametrize(
    ("identification", "size"),
    [
        ("TW-03 Eel Quay, 24 h", (64, 34)),
        ("THG paddock 7 /  bin 01", (25, 12)),
        ("a  b   c", (50, 25)),
        ("X" * 60, (38, 21.2)),
        ("a story of the sack " * 5, (64, 34)),
    ],
    ids=["usual", "two spaces, small", "spaces", "one long word", "a story"],
)
def test_an_identification_is_printed_to_the_letter(identification: str, size: tuple[float, float]) -> None:
    placed = place(Label("KF26-04175", "KF26-04175", identification), *size)
    assert told(placed, "own") == identification
    assert not placed.is_elided


def test_an_identification_that_is_too_long_ends_in_an_ellipsis() -> None:
    story = "a story of the sack " * 9
    placed = place(Label("KF26-04175", "KF26-04175", story), 25, 10)
    own = told(placed, "own")
    assert placed.is_elided
    assert story.startswith(own.removesuffix("…"))
    assert len(story) > len(own) > 20


def test_what_has_no_room_goes_from_the_end_and_the_identification_stays_whole() -> None:
    styles = [line.style for line in place(replace(FULL, hazards=()), 38, 14).texts]
    assert styles[0] == "number"
    assert "own" in styles
    assert "heavy" in styles
    assert "sub" not in styles


@pytest.mark.parametrize(
    ("label", "size", "words"),
    [
        (FULL, (20, 9), "takes 21 modules and 4 clear ones on each side, at least 0.33 mm each: 9.6 mm both ways"),
        (replace(FULL, code="KF26-04175 DUP of a long label"), (25, 10), "takes 29 modules"),
        (FULL, (11, 10), "has no room for the number KF26-04175"),
        (replace(FULL, hazards=("cyanide: no acid",)), (12, 18), "must say “cyanide: no acid”"),
    ],
    ids=["module", "longer code", "number", "hazard"],
)
def test_a_label_too_small_is_refused_in_words(label: Label, size: tuple[float, float], words: str) -> None:
    with pytest.raises(TooSmall, match=words):
        place(label, *size)


def test_many_hazards_on_a_small_label_become_their_count() -> None:
    placed = place(replace(FULL, hazards=("toxic", "corrosive", "flammable", "radioactive", "asbestos")), 25, 12)
    assert told(placed, "hazard") == "5 hazards"


@pytest.mark.parametrize("text", ["0123456789", "KF26-04175", "B26-0001 MB1", "KF26-00003 (2)", "Ä" * 20, "x" * 40])
def test_the_size_of_a_code_is_known_before_it_is_drawn(text: str) -> None:
    assert modules_of(text) == qr_path(text, error="m").modules


@given(st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs"))), st.floats(3, 60), st.floats(5, 15))
@settings(max_examples=60)
def test_wrapped_lines_are_the_text_to_the_letter(text: str, width: float, size_pt: float) -> None:
    lines = wrap(text, "text", size_pt, width)
    assert "".join(lines) == text
    for line in lines:
        assert width_mm(line.rstrip(), "text", size_pt) <= width or len(line.strip()) <= 1


def test_a_text_is_measured_with_the_widths_of_the_face() -> None:
    """A monospaced digit is 632 of 1000 units wide; 10 of them at 10 pt are 22.3 mm, and 1 % more is kept free."""
    assert width_mm("0123456789", "mono", 10) == pytest.approx(10 * 0.632 * 10 * 25.4 / 72 * 1.01)
    assert width_mm("ill", "text", 10) < width_mm("WWW", "text", 10)
    assert largest_pt("0123456789", "mono", 11.26, 15) == pytest.approx(5.0, abs=0.01)
    assert elide("Eel Quay", "text", 10, 60) == "Eel Quay"
    assert elide("Eel Quay", "text", 10, 10) == "Eel…"
