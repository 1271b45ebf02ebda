"""The working range that is left in use when calibration points are not used."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.calculation.curve_quality import shrunk_words, unsupported_words, working_range
from labresults.calculation.run import CurvePoint
from tests.calculation.builders import CU
from tests.calculation.calibrations import a_calibration, a_point, curve_and_quality

LOW, MIDDLE, HIGH = a_point(1.0, position=2), a_point(5.0, position=4), a_point(10.0, position=6)
BLANK = a_point(0.0, None, position=1)


def out(point: CurvePoint, *, read: bool = True) -> CurvePoint:
    return replace(point, used=False, y=point.y if read else float("nan"))


@pytest.mark.parametrize(
    ("points", "range_top", "expected", "words"),
    [
        ([BLANK, LOW, MIDDLE, HIGH], 10.0, (None, 10.0), ""),
        ([BLANK, LOW, MIDDLE, HIGH], 20.0, (None, 20.0), ""),
        ([BLANK, LOW, MIDDLE, out(HIGH)], 10.0, (None, 5.0),
         "Position 6 (10 mg/L) was left out: the working range ends at 5 mg/L."),
        ([BLANK, LOW, MIDDLE, out(HIGH, read=False)], 10.0, (None, 5.0),
         "Position 6 (10 mg/L) gave no reading: the working range ends at 5 mg/L."),
        ([BLANK, LOW, out(MIDDLE), out(HIGH)], 10.0, (None, 1.0),
         "Position 4 (5 mg/L) was left out, position 6 (10 mg/L) was left out: the working range ends at 1 mg/L."),
        ([BLANK, LOW, MIDDLE, out(HIGH)], 4.0, (None, 4.0), ""),
        ([BLANK, LOW, out(MIDDLE), HIGH], 10.0, (None, 10.0), ""),
        ([BLANK, LOW, MIDDLE, HIGH, out(HIGH)], 10.0, (None, 10.0), ""),
        ([BLANK, out(LOW), MIDDLE, HIGH], 10.0, (5.0, 10.0),
         "Position 2 (1 mg/L) was left out: the working range starts at 5 mg/L."),
        ([out(BLANK), LOW, MIDDLE, HIGH], 10.0, (1.0, 10.0),
         "Position 1 (0 mg/L) was left out: the working range starts at 1 mg/L."),
        ([out(BLANK), BLANK, LOW, MIDDLE, HIGH], 10.0, (None, 10.0), ""),
        ([BLANK, out(LOW), MIDDLE, out(HIGH)], 10.0, (5.0, 5.0),
         "Position 2 (1 mg/L) was left out: the working range starts at 5 mg/L. "
         "Position 6 (10 mg/L) was left out: the working range ends at 5 mg/L."),
    ],
    ids=[
        "all in use", "the method goes above the standards", "highest out", "highest not read", "two highest out",
        "the method ends below", "middle out", "one of two highest", "lowest out", "blank out", "one of two blanks",
        "both ends",
    ],
)  # fmt: skip
def test_a_point_that_is_not_used_takes_its_part_of_the_range_in_words(
    points: list[CurvePoint], range_top: float, expected: tuple[float | None, float], words: str
) -> None:
    assert working_range(points, 0.03, range_top) == expected
    assert shrunk_words(points, 0.03, range_top, "mg/L") == words


def test_the_range_starts_no_lower_than_the_quantification_limit() -> None:
    points = [BLANK, out(a_point(0.01)), a_point(0.02), HIGH]
    assert working_range(points, 0.03, 10.0) == (None, 10.0)
    assert shrunk_words(points, 0.03, 10.0, "mg/L") == ""


def test_a_lowest_standard_above_the_quantification_limit_is_said() -> None:
    # EPA 6010D (2018), 10.7: the lowest standard is at or below the quantification limit
    points = [BLANK, a_point(0.1), HIGH]
    words = unsupported_words(points, 0.03, 10.0, "mg/L")
    assert "0.1 mg/L, is above the quantification limit of 0.03 mg/L" in words
    assert unsupported_words(points, 0.1, 10.0, "mg/L") == ""
    # and not twice, where the range starts there because a point was left out
    assert unsupported_words([BLANK, out(a_point(0.03)), *points[1:]], 0.03, 10.0, "mg/L") == ""


@given(
    left_out=st.sets(st.integers(1, 6), max_size=2),
    range_top=st.floats(0.5, 50.0),
    quantification_limit=st.floats(0.001, 2.0),
    more=st.sets(st.integers(1, 6), max_size=2),
)
def test_points_left_out_never_widen_the_range(
    left_out: set[int], range_top: float, quantification_limit: float, more: set[int]
) -> None:
    run = a_calibration({x: [50 + 100 * x] for x in (0.0, 0.5, 1.0, 2.0, 5.0, 10.0)})
    line = replace(CU, range_top=range_top, quantification_limit=quantification_limit)
    ranges = []
    for numbers in (left_out, left_out | more):
        _, quality = curve_and_quality(replace(run, left_out=frozenset((number, CU.key) for number in numbers)), line)
        top = range_top if quality.top is None else quality.top
        ranges.append((quality.bottom or quantification_limit, top, quality.shrunk))
    (bottom, top, _), (less_bottom, less_top, words) = ranges
    assert less_bottom >= bottom
    assert less_top <= top
    assert bool(words) == (less_top < range_top or less_bottom > quantification_limit)
