"""Which place a result is rounded to, which name its limit has, and what stands in words: one row for each bound."""

from dataclasses import replace
from decimal import Decimal

import pytest

from labresults.terms import DecisionRule, LimitSide, Mark, Tie
from reports.rules.censoring import Below, Limits, decide, round_limit_above
from reports.rules.conformity import Found, Limit, Rule, conformity_probability, normal_quantile, probability
from reports.rules.printing import Measured, print_limit, print_measured
from reports.rules.rounding import exact, round_decimals, round_for_report, round_significant, text
from reports.rules.ruleset import RuleSet, Switch
from reports.rules.uncertainty import UncertaintyRule, round_uncertainty

RULE = RuleSet("three figures", 1)
FREE = replace(RULE, no_finer_than_detection_limit=False)
BY_U = replace(RULE, uncertainty_decides=True)
LIMITS = Limits(0.2, 0.6, 500.0)
NONE = Limits(0.0, 0.0)


@pytest.mark.parametrize(
    ("rule", "value", "limits", "u", "extra", "printed", "because"),
    [
        # U does not decide where the rules do not say so: three figures, not to 0.027
        (RULE, 10.05762, NONE, 0.027, 0, "10.1", "three figures"),
        (BY_U, 10.05762, NONE, 0.027, 0, "10.058", "to the last figure of the uncertainty"),
        (BY_U, 10.05762, NONE, 0.027, 1, "10.0576", "to the last figure of the uncertainty"),
        (BY_U, 10.05762, NONE, None, 0, "10.1", "three figures"),
        # a U larger than the value would print 0
        (BY_U, 0.3, NONE, 23.0, 0, "0.300", "three figures"),
        # without a limit a gain in mass is rounded by its U too
        (BY_U, -0.318, NONE, 0.051, 0, "-0.318", "to the last figure of the uncertainty"),
        (BY_U, -0.3184, NONE, 0.51, 0, "-0.32", "to the last figure of the uncertainty"),
        # just at the printed limit of 0.24 is not below it
        (BY_U, 0.244, Limits(0.24, 0.7), 0.15, 0, "0.24", "to the last figure of the uncertainty"),
        # the places of the limit hold where the rules say so, the coarser of limit and unit
        (RULE, 0.3449, LIMITS, None, 0, "0.3", "one decimal: no finer than the detection limit"),
        (FREE, 0.3449, LIMITS, None, 0, "0.345", "three figures"),
        (replace(RULE, finest_decimals=(("mg/kg", 2),)), 0.346, LIMITS, None, 0, "0.3",
         "one decimal: no finer than the detection limit"),
        (replace(RULE, finest_decimals=(("mg/kg", 1),)), 0.346, LIMITS, None, 0, "0.3",
         "one decimal: no finer than the detection limit"),
        (replace(RULE, finest_decimals=(("mg/kg", 0),)), 4.6, LIMITS, None, 0, "5",
         "no decimals: the finest for mg/kg"),
        # at its limit a result keeps the places of its unit
        (replace(FREE, finest_decimals=(("mg/kg", 2),)), 0.2004, LIMITS, None, 0, "0.20",
         "two decimals: the finest for mg/kg"),
    ],
)  # fmt: skip
def test_the_place_and_what_decided_it(
    rule: RuleSet, value: float, limits: Limits, u: float | None, extra: int, printed: str, because: str
) -> None:
    found = print_measured(Measured(value, "mg/kg", limits, u), rule, extra)
    assert (found.printed, found.text_rule) == (printed, because)


def test_the_finest_place_is_that_of_the_unit_that_is_printed() -> None:
    """54 270 mg/kg are 5.427 %, and % has one decimal here; mg/kg has none."""
    rule = replace(
        RULE,
        switches=(Switch("mg/kg", Decimal(10000), "%", Decimal(10000)),),
        finest_decimals=(("%", 1), ("mg/kg", 0)),
    )
    assert print_measured(Measured(54270.0, "mg/kg", NONE), rule).printed == "5.4\N{NO-BREAK SPACE}%"


def test_u_is_not_shown_where_the_rules_leave_it_out() -> None:
    measured = Measured(12.34, "mg/kg", LIMITS, 0.5)
    assert print_measured(measured, RULE).u == "0.50"
    assert print_measured(measured, replace(RULE, uncertainty_shown=False)).u == ""


@pytest.mark.parametrize(
    ("rule", "detection", "extra", "printed"),
    [
        (RULE, 0.20488, 0, "<0.2"),
        (RULE, 0.20488, 1, "<0.205"),
        (FREE, 0.20488, 0, "<0.205"),  # as many figures as a result has
        (FREE, 0.20488, 1, "<0.2049"),
        # all that stand before the point, and one more
        (RULE, 15.264, 1, "<15.3"),
        (RULE, 152.64, 0, "<153"),
        (RULE, 152.64, 1, "<152.6"),
        (RULE, 1526.4, 1, "<1\N{NO-BREAK SPACE}526"),
    ],
)
def test_figures_of_a_limit(rule: RuleSet, detection: float, extra: int, printed: str) -> None:
    assert print_measured(Measured(0.1, "mg/kg", Limits(detection, 3 * detection)), rule, extra).printed == printed


@pytest.mark.parametrize(
    ("limit", "printed"),
    [
        (1.105, "1"),  # 0.105 away from 1: less than a tenth of itself
        (1.12, "1.1"),  # 0.12 away: more
    ],
)
def test_a_limit_is_said_to_a_tenth_of_itself(limit: float, printed: str) -> None:
    assert print_limit(limit, RULE) == printed


def test_a_limit_goes_up_in_its_own_figures_where_nothing_else_is_said() -> None:
    assert round_limit_above(1.02, 1.04, 1, Tie.HALF_EVEN) == 2
    assert round_limit_above(1.02, 1.04, 1, Tie.HALF_EVEN, least_figures=2) == Decimal("1.1")


# ---------------------------------------------------------------- words and names


@pytest.mark.parametrize(
    ("chosen", "value", "printed", "sign", "because"),
    [
        ({"words_between": "trace"}, 0.3, "trace", "<", "below the quantification limit: in words"),
        ({"words_between": "trace"}, 0.7, "0.7", "", "one decimal: no finer than the detection limit"),
        ({"words_not_detected": "n.d."}, 0.1, "n.d.", "<", "below the detection limit: in words"),
        ({"words_above": "much"}, 501.0, "much", ">", "above the range: in words"),
        (
            {"below": Below.QUANTIFICATION_LIMIT, "not_found_by_detection_limit": True}, 0.1, "<0.2", "<",
            "below the detection limit",
        ),
        ({"below": Below.QUANTIFICATION_LIMIT}, 0.1, "<0.6", "<", "below the quantification limit"),
        (
            {"below": Below.REPORTING_LIMIT, "words_between": "trace"}, 0.3, "trace", "<",
            "below the quantification limit: in words",
        ),
        (
            {"below": Below.REPORTING_LIMIT, "words_not_detected": "n.d."}, 0.1, "n.d.", "<",
            "below the detection limit: in words",
        ),
    ],
)  # fmt: skip
def test_the_name_of_the_limit_and_words(
    chosen: dict[str, object], value: float, printed: str, sign: str, because: str
) -> None:
    rule = RuleSet("words", 1, **chosen)  # type: ignore[arg-type]
    limits = replace(LIMITS, reporting=1.0 if "below" in chosen else None)
    found = print_measured(Measured(value, "mg/kg", limits), rule)
    assert (found.printed, found.sign, found.text_rule) == (printed, sign, because)


def test_what_is_said_in_words_alone_has_no_decimals_and_one_mark() -> None:
    over = print_measured(Measured(None, "mg/kg", Limits(0.2, 0.6), marks=(Mark.OVER_RANGE,)), RULE)
    assert (over.printed, over.decimals, over.marks) == ("over range", 0, (Mark.OVER_RANGE,))


@pytest.mark.parametrize(
    ("value", "limits", "marks", "sign", "expected"),
    [
        # over a range whose end is not known, though a number was read
        (12.0, Limits(0.2, 0.6), (Mark.OVER_RANGE,), None, (Mark.OVER_RANGE,)),
        # what an evaluation said of the two limits is decided anew
        (4.0, LIMITS, (Mark.BELOW_DETECTION,), "", ()),
        (0.3, LIMITS, (Mark.BELOW_DETECTION, Mark.NO_VALUE), "", (Mark.BELOW_QUANTIFICATION,)),
        (4.0, LIMITS, (Mark.CONTROL_FAILED, Mark.BELOW_QUANTIFICATION), "", (Mark.CONTROL_FAILED,)),
    ],
)
def test_marks_are_decided_anew(
    value: float, limits: Limits, marks: tuple[Mark, ...], sign: str | None, expected: tuple[Mark, ...]
) -> None:
    decision = decide(value, limits, Below.DETECTION_LIMIT, marks)
    assert (decision.sign, decision.marks) == (sign, expected)


# ---------------------------------------------------------------- rounding


@pytest.mark.parametrize(("finest", "printed"), [(None, "0"), (0, "0"), (2, "0.00"), (-1, "0")])
def test_nothing_has_no_figures_and_the_places_that_are_asked_for(finest: int | None, printed: str) -> None:
    assert text(round_for_report(0.0, 3, finest, Tie.HALF_EVEN)) == printed


def test_the_widest_numbers_lose_nothing() -> None:
    assert round_decimals(1e30, 2, Tie.HALF_EVEN) == Decimal(10) ** 30
    assert exact(Decimal("1.00000000000000000001")) == Decimal("1.00000000000000000001")
    assert text(round_significant(1.2345e300, 3, Tie.HALF_EVEN), "") == "123" + 298 * "0"


@pytest.mark.parametrize(
    ("u", "rule", "printed"),
    [
        (0.367, UncertaintyRule.TWO_FIGURES, "0.37"),
        (0.367, UncertaintyRule.TWO_FIGURES_UP, "0.37"),
        (0.367, UncertaintyRule.PARTICLE_DATA_GROUP, "0.4"),  # Review of Particle Physics, 5.3
        *[(0.0, rule, "0") for rule in UncertaintyRule],
    ],
)
def test_figures_of_an_uncertainty(u: float, rule: UncertaintyRule, printed: str) -> None:
    assert text(round_uncertainty(u, rule, Tie.HALF_EVEN)) == printed


def test_only_upwards_is_kept_from_the_last_bit() -> None:
    """0.125 and a bit is nearer to 0.13 than to 0.12; upwards it would be 0.13 in any case."""
    printed = print_measured(Measured(12.0, "mg/kg", LIMITS, 0.12500000000000003), RULE)
    assert printed.u == "0.13"


# ---------------------------------------------------------------- probability of conformity


@pytest.mark.parametrize(
    ("value", "lower", "upper", "expected"),
    [(5.0, 0.0, 5.0, 1.0), (5.0, 5.0, 9.0, 1.0), (5.01, 0.0, 5.0, 0.0), (4.99, 5.0, 9.0, 0.0)],
)
def test_without_uncertainty_it_is_one_or_nothing(value: float, lower: float, upper: float, expected: float) -> None:
    assert probability(value, 0.0, lower, upper) == expected


@pytest.mark.parametrize(
    ("found", "side", "expected"),
    [
        # 5 with u = 1 below 6.645, or above 3.355: Φ(1.645) = 95 % (JCGM 106:2012, table 1)
        (Found(5.0, "mg/kg", expanded_u=2.0), LimitSide.AT_MOST, 0.95),
        (Found(5.0, "mg/kg", expanded_u=2.0), LimitSide.AT_LEAST, 0.95),
        (Found(5.0, "mg/kg"), LimitSide.AT_MOST, None),
        (Found(5.0, "mg/kg", sign="<", expanded_u=2.0), LimitSide.AT_MOST, None),
    ],
)
def test_a_probability_needs_a_value_and_its_uncertainty(found: Found, side: LimitSide, expected: float | None) -> None:
    limit = Limit(6.645 if side is LimitSide.AT_MOST else 3.355, "mg/kg", side)
    assert conformity_probability(found, limit) == (expected and pytest.approx(expected, abs=5e-5))


def test_a_probability_without_a_chosen_risk_is_that_of_one_half() -> None:
    assert normal_quantile(Rule(DecisionRule.PROBABILITY)) == pytest.approx(0.0)
    assert normal_quantile(Rule(DecisionRule.PROBABILITY, 5.0)) == pytest.approx(1.645, abs=5e-4)
