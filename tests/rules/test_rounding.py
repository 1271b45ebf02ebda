"""Rounding once, in decimal: published cases, then what must hold for every number."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.terms import Tie
from reports.rules.rounding import decimals_of, exact, round_decimals, round_for_report, round_significant, text
from tests.rules.published import published

PUBLISHED = [
    pytest.param(case, id=f"{source['title'].split(',')[0]} {case['value']} to {case['to']} {case['tie']}")
    for source, cases in ((entry["source"], entry["cases"]) for entry in published("rounding")["sets"])
    for case in cases
]

VALUES = st.floats(allow_nan=False, allow_infinity=False)
AMOUNTS = st.floats(min_value=1e-9, max_value=1e9)
TIES = st.sampled_from(Tie)


@pytest.mark.parametrize("case", PUBLISHED)
@pytest.mark.parametrize("kind", [Decimal, float])
def test_published_cases_hold_for_decimals_and_for_floats(case: dict[str, str], kind: type) -> None:
    # given a number as published, and the place it is rounded to
    decimals = -Decimal(case["to"]).adjusted()
    # when it is rounded once
    rounded = round_decimals(kind(case["value"]), decimals, Tie(case["tie"]))
    # then it prints as published
    assert text(rounded, "") == case["printed"]


# The worked table of reports/rules/rounding.py.
@pytest.mark.parametrize(
    ("value", "figures", "finest", "tie", "printed"),
    [
        (9.996, 3, None, Tie.HALF_EVEN, "10.0"),
        (65.55, 3, None, Tie.HALF_EVEN, "65.6"),
        (74.85, 3, None, Tie.HALF_EVEN, "74.8"),
        (74.85, 3, None, Tie.HALF_UP, "74.9"),
        (0.138604, 3, 2, Tie.HALF_EVEN, "0.14"),
        (18704.3, 3, None, Tie.HALF_EVEN, "18\u00a0700"),
        (0.0105, 6, 3, Tie.HALF_EVEN, "0.010"),
        (0.0105, 6, 3, Tie.HALF_UP, "0.011"),
        (0.0996, 2, None, Tie.HALF_EVEN, "0.10"),
        (99950.0, 3, None, Tie.HALF_UP, "100\u00a0000"),
        (9.96, 3, 1, Tie.HALF_EVEN, "10.0"),
        (0.004, 3, 2, Tie.HALF_EVEN, "0.00"),
        (-0.004, 3, 2, Tie.HALF_EVEN, "0.00"),
        (0.0, 3, 2, Tie.HALF_EVEN, "0.00"),
        (-65.55, 3, None, Tie.HALF_UP, "-65.6"),
        (1e-12, 3, None, Tie.HALF_EVEN, "0.00000000000100"),
        (1.5e300, 1, None, Tie.HALF_EVEN, "2" + "\u00a0000" * 100),
    ],
    ids=lambda item: str(item)[:20],
)
def test_worked_table(value: float, figures: int, finest: int | None, tie: Tie, printed: str) -> None:
    assert text(round_for_report(value, figures, finest, tie)) == printed


def test_one_stage_only() -> None:
    assert round_decimals(12.254, 1, Tie.HALF_EVEN) == Decimal("12.3")


@pytest.mark.parametrize("value", [float("nan"), float("inf"), Decimal("NaN"), Decimal("-Infinity")])
def test_what_is_not_a_number_is_refused(value: float | Decimal) -> None:
    with pytest.raises(ValueError, match="cannot be printed"):
        round_significant(value, 3, Tie.HALF_EVEN)


def test_no_figures_are_refused() -> None:
    with pytest.raises(ValueError, match="0 significant figures"):
        round_significant(1.0, 0, Tie.HALF_EVEN)


@given(value=VALUES, figures=st.integers(1, 8), finest=st.none() | st.integers(-2, 8), tie=TIES)
def test_rounding_again_changes_nothing(value: float, figures: int, finest: int | None, tie: Tie) -> None:
    once = round_for_report(value, figures, finest, tie)
    again = round_for_report(once, figures, finest, tie)
    assert (again, text(again)) == (once, text(once))


@given(a=VALUES, b=VALUES, figures=st.integers(1, 8), finest=st.none() | st.integers(-2, 8), tie=TIES)
def test_order_is_kept(a: float, b: float, figures: int, finest: int | None, tie: Tie) -> None:
    low, high = sorted((a, b))
    assert round_for_report(low, figures, finest, tie) <= round_for_report(high, figures, finest, tie)


@given(value=AMOUNTS, figures=st.integers(1, 8), tie=TIES)
def test_no_more_than_half_a_unit_of_the_last_figure_is_lost(value: float, figures: int, tie: Tie) -> None:
    rounded = round_significant(value, figures, tie)
    unit = Decimal(1).scaleb(exact(value).adjusted() - figures + 1)
    assert abs(rounded - exact(value)) <= unit / 2


@given(value=AMOUNTS, figures=st.integers(1, 8), tie=TIES)
def test_as_many_figures_as_asked_for(value: float, figures: int, tie: Tie) -> None:
    rounded = round_significant(value, figures, tie)
    assert len(rounded.as_tuple().digits) == figures


@given(value=VALUES, figures=st.integers(1, 8), finest=st.none() | st.integers(0, 8), tie=TIES)
def test_text_and_number_agree(value: float, figures: int, finest: int | None, tie: Tie) -> None:
    rounded = round_for_report(value, figures, finest, tie)
    printed = text(rounded, "")
    assert Decimal(printed) == rounded
    assert "e" not in printed.lower()
    assert len(printed.partition(".")[2]) == decimals_of(rounded)
    assert text(rounded).replace("\u00a0", "") == printed
