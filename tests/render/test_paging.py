"""Which samples stand on which page."""

import pytest

from reports.render.paging import PagePart, by_page, height_mm, part_sheet

NONE = frozenset[str]()
A, B = frozenset({"a"}), frozenset({"b"})


def _free(marks: frozenset[str]) -> float:
    return 0.0


def _five_each(marks: frozenset[str]) -> float:
    return 5.0 * len(marks)


@pytest.mark.parametrize(
    ("samples", "rooms", "expected"),
    [
        pytest.param(4, (100.0, 100.0), [(0, 4)], id="all on one page"),
        pytest.param(9, (100.0, 100.0), [(0, 9)], id="a page filled to its last mm"),
        pytest.param(10, (100.0, 100.0), [(0, 7), (7, 10)], id="one more begins another, but not alone"),
        pytest.param(6, (60.0, 60.0), [(0, 5), (5, 6)], id="unless few are left before it"),
        pytest.param(12, (50.0, 100.0), [(0, 4), (4, 12)], id="what the head of the certificate left"),
        pytest.param(12, (25.0, 100.0), [(0, 9), (9, 12)], id="too little left: the table begins on the next page"),
        pytest.param(2, (30.0, 100.0), [(0, 2)], id="few samples are all that there are"),
        pytest.param(0, (100.0, 100.0), [(0, 0)], id="no sample: the head alone"),
    ],
)
def test_samples_fill_pages(samples: int, rooms: tuple[float, float], expected: list[tuple[int, int]]) -> None:
    parts = part_sheet(0, [10.0] * samples, [NONE] * samples, 10.0, _free, rooms)
    assert [(part.start, part.end) for part in parts] == expected


def test_a_page_leaves_room_for_the_remarks_that_its_samples_need_and_no_others() -> None:
    marks = [A, A, B, NONE, NONE, NONE]
    parts = part_sheet(0, [10.0] * 6, marks, 10.0, _five_each, (40.0, 40.0))
    assert [(part.start, part.end, part.marks, part.height_mm) for part in parts] == [
        (0, 2, A, 35.0),
        (2, 4, B, 35.0),
        (4, 6, NONE, 30.0),
    ]


def test_a_sample_higher_than_a_page_stands_alone() -> None:
    parts = part_sheet(0, [10.0, 500.0, 10.0], [NONE] * 3, 10.0, _free, (100.0, 100.0))
    assert [(part.start, part.end) for part in parts] == [(0, 1), (1, 2), (2, 3)]


def test_tables_that_stand_below_each_other_share_a_page() -> None:
    first, second, third = (PagePart(at, 0, 3, NONE, 40.0, below) for at, below in enumerate((None, 7.0, None)))
    assert by_page([first, second, third]) == [[first, second], [third]]
    assert height_mm([first, second]) == 87.0
