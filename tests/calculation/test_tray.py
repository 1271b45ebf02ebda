"""Rack and cup: each position has one place of its own, and what the tray does not hold has none."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.calculation.tray import Tray, at_row_and_column, grid, place_in

SMALL = Tray(racks=2, rows=3, columns=4)


@pytest.mark.parametrize(
    ("number", "stands"),
    [(1, (1, 1)), (12, (1, 12)), (13, (2, 1)), (24, (2, 12)), (25, None)],
)
def test_racks_are_filled_one_after_the_other(number: int, stands: tuple[int, int] | None) -> None:
    assert place_in(SMALL, number) == stands


@pytest.mark.parametrize(
    ("by_column", "cup", "stands"),
    [(False, 1, (1, 1)), (False, 4, (1, 4)), (False, 5, (2, 1)), (True, 3, (3, 1)), (True, 4, (1, 2))],
)
def test_cups_count_along_the_rows_or_down_the_columns(by_column: bool, cup: int, stands: tuple[int, int]) -> None:
    assert at_row_and_column(Tray(2, 3, 4, by_column), cup) == stands


def test_the_tray_as_it_is_seen_from_above() -> None:
    labels = ["STD 0", "STD 1", "ICV 1", "a", "b"]
    assert grid(Tray(1, 2, 3), labels) == [[["STD 0", "STD 1", "ICV 1"], ["a", "b", ""]]]
    assert grid(Tray(1, 2, 3, by_column=True), labels) == [[["STD 0", "ICV 1", "b"], ["STD 1", "a", ""]]]


def test_a_tray_says_what_it_holds() -> None:
    assert SMALL.in_words() == "2 racks of 3 rows × 4 places, counted along the rows: 24 places"


@given(st.integers(1, 4), st.integers(1, 6), st.integers(1, 12), st.booleans())
def test_no_two_positions_share_a_place(racks: int, rows: int, columns: int, by_column: bool) -> None:
    tray = Tray(racks, rows, columns, by_column)
    stands = [place_in(tray, number) for number in range(1, tray.places + 1)]
    seen = {(rack, *at_row_and_column(tray, cup)) for rack, cup in stands if rack}  # type: ignore[misc]
    assert len(seen) == tray.places
    assert max(row for _, row, _ in seen) == rows
    assert max(column for _, _, column in seen) == columns
    assert place_in(tray, tray.places + 1) is None


@pytest.mark.parametrize("cup", [0, 13])
def test_a_cup_that_is_not_there(cup: int) -> None:
    with pytest.raises(ValueError, match="no cup"):
        at_row_and_column(SMALL, cup)
