"""Identifications that count."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.readers.series import MOST, BadSeries, series


@pytest.mark.parametrize(
    ("asked", "names"),
    [
        (("NRD016- ", "001", "4"), "NRD016- 001|NRD016- 002|NRD016- 003|NRD016- 004"),
        (("", "8", "11"), "8|9|10|11"),
        (("", "098", "101"), "098|099|100|101"),
        (("B", "4", "1"), "B4|B3|B2|B1"),
        (("B", "1", "9", "3, 7-9"), "B1|B2|B4|B5|B6"),
        (("B", "1", "5", "2 to 3; 5"), "B1|B4"),
        (("B", "1", "2", "", "/top "), "B1/top |B2/top "),
        (("B", "7", "7"), "B7"),
    ],
)
def test_a_series(asked: tuple[str, ...], names: str) -> None:
    assert "|".join(series(*asked)) == names


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (("", "A1", "5"), "From: “A1” is not a whole number."),
        (("", "1", ""), "To: “” is not a whole number."),
        (("", "1", "6000"), "are 6000 samples. Give at most 5000 at once."),
        (("", "1", "5", "7"), "“7” does not lie between 1 and 5."),
        (("", "1", "5", "4-2"), "“4-2” does not lie between 1 and 5."),
        (("", "1", "5", "two"), "“two” is neither a number nor a range."),
        (("", "1", "2", "1-2"), "Every number of the series is skipped."),
    ],
)
def test_what_cannot_be_counted_is_said(asked: tuple[str, ...], words: str) -> None:
    with pytest.raises(BadSeries) as refusal:
        series(*asked)
    assert words in str(refusal.value)


@given(st.integers(0, 3000), st.integers(0, 1500), st.integers(1, 6))
def test_counting_down_is_counting_up_turned_round(first: int, more: int, width: int) -> None:
    low, high = f"{first:0{width}d}", f"{first + more:0{width}d}"
    up = series("x", low, high)
    assert len(up) == more + 1 <= MOST
    assert len(set(up)) == len(up)
    assert tuple(int(name[1:]) for name in reversed(up)) == tuple(int(name[1:]) for name in series("x", high, low))
    left_out = series("x", low, high, low) if more else ()
    assert left_out == up[1:]
