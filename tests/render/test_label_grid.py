"""Where labels stand on a sheet, and which of them are meant; by hand, in millimetres."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.labels import PAGES_MM, CannotLayOut, Label, LabelSheet, NotOfThese, Span, choose, grid, single

NUMBERS = [f"KF26-{number:05d}" for number in range(1, 31)]
TUBES = ["B26-0001 MB1", "KF26-00001", "KF26-00001 DUP"]


def across(count: int = 3, before: float = 9, after: float = 9, gap: float = 0, size: float | None = None) -> Span:
    return Span(count, before, after, gap, size, "columns", "across")


def down(count: int = 8, before: float = 12.5, after: float = 12.5, gap: float = 0, size: float | None = None) -> Span:
    return Span(count, before, after, gap, size, "rows", "down")


def test_sizes_follow_from_margins_and_gaps() -> None:
    """(210 - 2 × 9 - 2 × 3) / 3 = 62; (297 - 2 × 12.5 - 7 × 2) / 8 = 32.25."""
    layout = grid(PAGES_MM["A4"], across(gap=3), down(gap=2))
    assert layout.label_mm == (62.0, 32.25)
    places = [layout.place(index) for index in (0, 1, 3, 23, 24)]
    assert [(place.page, place.x_mm, place.y_mm) for place in places] == [
        (0, 9.0, 12.5), (0, 74.0, 12.5), (0, 9.0, 46.75), (0, 139.0, 252.25), (1, 9.0, 12.5),
    ]  # fmt: skip


def test_a_typed_size_begins_at_the_margin_and_may_leave_room() -> None:
    layout = grid(PAGES_MM["Letter"], across(3, 5, 5, 3, 60), down(10, 12.7, 12.7, 0, 25.4))
    assert layout.label_mm == (60, 25.4)
    assert layout.place(1).x_mm == 68


@pytest.mark.parametrize(
    ("wide", "high", "problems"),
    [
        (across(3, size=70), down(), [("columns", "need 210 mm; between the margins there are 192 mm: 18 mm too")]),
        (across(), down(9, size=34), [("rows", "need 306 mm; between the margins there are 272 mm: 34 mm too many")]),
        (across(2, 100, 120), down(), [("columns", "take 220 mm of the page's 210 mm: nothing is left")]),
        (
            across(4, gap=2, size=50), down(20, gap=15),
            [("columns", "206 mm; between the margins there are 192 mm"), ("rows", "nothing is left for labels")],
        ),
    ],
    ids=["too wide", "too high", "margins alone", "both"],
)  # fmt: skip
def test_what_overflows_is_said_with_its_millimetres(wide: Span, high: Span, problems: list[tuple[str, str]]) -> None:
    with pytest.raises(CannotLayOut) as refused:
        grid(PAGES_MM["A4"], wide, high)
    assert [field for field, _ in refused.value.problems] == [field for field, _ in problems]
    for (_, said), (_, expected) in zip(refused.value.problems, problems, strict=True):
        assert expected in said


def test_a_size_typed_to_a_tenth_is_not_refused_for_its_rounding() -> None:
    assert grid(PAGES_MM["A4"], across(3, 5, 5, 0, 66.68), down(8, 0, 0, 0, 37.13)).a_page == 24


@given(st.integers(1, 8), st.integers(1, 20), st.floats(0, 20), st.floats(0, 4))
def test_no_label_leaves_the_page_and_none_lies_on_another(columns: int, rows: int, margin: float, gap: float) -> None:
    page = PAGES_MM["A4"]
    layout = grid(page, across(columns, margin, margin, gap), down(rows, margin, margin, gap))
    width, height = layout.label_mm
    last = layout.place(layout.a_page - 1)
    assert last.x_mm + width <= page[0] - margin + 1e-6
    assert last.y_mm + height <= page[1] - margin + 1e-6
    assert layout.step_mm[0] >= width
    assert layout.step_mm[1] >= height


@pytest.mark.parametrize(
    ("count", "start", "pages", "next_start"),
    [(24, 1, 1, 1), (25, 1, 2, 2), (20, 5, 1, 1), (20, 6, 2, 2), (1, 24, 1, 1), (0, 1, 0, 1), (3, 4, 1, 7)],
)
def test_a_part_used_sheet_goes_on_where_it_was_left(count: int, start: int, pages: int, next_start: int) -> None:
    layout = grid(PAGES_MM["A4"], across(), down())
    labels = tuple(Label(number, number, "core") for number in NUMBERS[:count])
    sheet = LabelSheet("", "", layout, labels, start=start)
    assert (sheet.pages, sheet.next_start) == (pages, next_start)
    if count:
        assert sheet.places()[0][1] == layout.place(start - 1)


def test_a_roll_has_one_label_a_page() -> None:
    assert [single(50, 25).place(index).page for index in range(3)] == [0, 1, 2]


@pytest.mark.parametrize(
    ("written", "among", "meant"),
    [
        ("", NUMBERS, list(range(30))),
        ("3, 7-9", NUMBERS, [2, 6, 7, 8]),
        ("9 - 10", NUMBERS, [8, 9]),
        ("KF26-00002 KF26-00004", NUMBERS, [1, 3]),
        ("KF26-00004 to KF26-00006\n1", NUMBERS, [0, 3, 4, 5]),
        ("5; 5; 2 to 3", NUMBERS, [1, 2, 4]),
        ("B26-0001 MB1, KF26-00001 DUP", TUBES, [0, 2]),
        ("B26-0001 MB1 to KF26-00001", TUBES, [0, 1]),
    ],
)
def test_labels_are_chosen_by_number_row_or_range(written: str, among: list[str], meant: list[int]) -> None:
    assert choose(written, among) == meant


@pytest.mark.parametrize(
    ("written", "missing"),
    [("99", "99"), ("9-7", "9-7"), ("1, KF26-00099", "KF26-00099"), ("1 to 99", "1 to 99"), ("KF26-00001 x", "KF26")],
)
def test_what_is_not_there_is_named(written: str, missing: str) -> None:
    with pytest.raises(NotOfThese, match=missing):
        choose(written, NUMBERS)
