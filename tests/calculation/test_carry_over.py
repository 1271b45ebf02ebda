"""Carry-over: a low position just after a very high one is marked; a rinse between the two resets it."""

from dataclasses import replace

import numpy as np
import pytest

from labresults.calculation.run import RULES
from labresults.calculation.solutions import Solutions, find_solutions
from labresults.terms import Role
from tests.calculation.builders import CU, At, changed, check, method, run_of, sample, standards

LINE = replace(CU, carry_over=0.01)
"""One hundredth of a reading may be seen again; quantification limit 0.03 mg/L, working range up to 10 mg/L."""


def solved(*places: At, line: object = LINE, saturated: tuple[int, ...] = ()) -> Solutions:
    """Return the solutions of a run of four standards, a blank check, and then these places, from position 6 on."""
    before = [*standards(Cu=10.0), check("B", role=Role.BLANK_CHECK, true=0.0, cu=0.0)]
    run = run_of(*before, *places, lines=(line,))  # type: ignore[arg-type]
    for number in saturated:
        run.saturated[number - 1, 0] = True
    return find_solutions(run, method(lines=(line,), rules=RULES))  # type: ignore[arg-type]


def carried(*places: At, **given: object) -> list[int]:
    """Return the positions that are marked, after the standards and the blank check."""
    return [int(row) + 1 for row in np.flatnonzero(solved(*places, **given).carried[:, 0]) if row >= 5]


@pytest.mark.parametrize(
    ("high", "low", "marked"),
    [
        (9.0, 0.05, True),  # 0.09: three limits, and more than the reading itself
        (3.0, 0.05, True),  # 0.03: exactly one quantification limit
        (2.9, 0.05, False),  # 0.029: under the limit
        (9.0, 0.9, True),  # 0.09: exactly a tenth of 0.9
        (9.0, 0.91, False),  # 0.09: under a tenth of it
        (60.0, 5.0, True),  # over range is a number still
        (9.0, 0.0, True),
        (9.0, -0.01, True),
    ],
)
def test_a_low_position_after_a_very_high_one_is_marked(high: float, low: float, marked: bool) -> None:
    assert carried(sample("high", Cu=high), sample("low", Cu=low)) == ([7] if marked else [])


def test_a_line_without_a_share_marks_nothing() -> None:
    assert carried(sample("high", Cu=9.0), sample("low", Cu=0.05), line=CU) == []


def test_only_the_position_just_before_counts() -> None:
    high, low, rinse = sample("high", Cu=9.0), sample("low", Cu=0.05), sample("rinse", role=Role.RINSE, Cu=0.0)
    rinse = changed(rinse, portion=None)
    assert carried(high, rinse, low) == [7]  # the rinse itself, and not the sample after it
    assert carried(high, low, sample("next", Cu=0.05)) == [7]


def test_a_rinse_that_was_not_read_resets_it_too() -> None:
    places = [*standards(Cu=10.0), sample("high", Cu=9.0), sample("rinse", role=Role.RINSE), sample("low", Cu=0.05)]
    run = run_of(*places, lines=(LINE,))
    run.signal[5, 0] = np.nan
    assert not find_solutions(run, method(lines=(LINE,), rules=RULES)).carried[6, 0]


def test_any_role_carries_over() -> None:
    strong = check("high", role=Role.LINEAR_RANGE_CHECK, true=9.0, cu=9.0)
    assert carried(strong, sample("low", Cu=0.05)) == [7]


def test_a_saturated_reading_is_very_high() -> None:
    """It counts as the top of the working range, 10 mg/L, of which a hundredth is 0.1 mg/L."""
    found = solved(sample("high", Cu=0.0), sample("low", Cu=0.9), sample("next", Cu=0.05), saturated=(6,))
    assert found.carried[5:, 0].tolist() == [False, True, False]
    assert "just after position 6 with at least 10 mg/L, of which 1 %, 0.1 mg/L, may still be seen" in str(
        found.why_carried(6, 0)
    )


def test_a_new_calibration_block_starts_clean() -> None:
    again = [changed(at, block=2, label=f"{at.position.label}, again") for at in standards(Cu=10.0)]
    found = solved(sample("high", Cu=9.0), *again)
    assert not found.carried[6, 0]  # the blank of the new block
    assert not found.carried[0, 0]  # nothing is before the first


def test_it_is_said_in_words_with_the_numbers() -> None:
    found = solved(sample("high", Cu=9.0), sample("low", Cu=0.05))
    assert found.why_carried(6, 0) == (
        "Cu 324.754 reads 0.05 mg/L just after position 6 with 9 mg/L, of which 1 %, 0.09 mg/L, may still be seen: not "
        "less than the quantification limit and a tenth of the reading. Read it again after a rinse."
    )
    assert found.why_carried(5, 0) is None
