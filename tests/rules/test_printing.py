"""From an unrounded result to what is printed of it."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from labresults.terms import Basis, Mark, Tie
from reports.facts import ResultFact
from reports.printed import WrongBasis, print_one
from reports.rules.censoring import Below, Limits, decide, round_limit_above, round_limit_below
from reports.rules.printing import PrintedValue, print_limit, print_result
from reports.rules.rule_words import describe
from reports.rules.ruleset import BadRuleSet, RuleSet, Switch
from reports.rules.uncertainty import UncertaintyRule

RULE = RuleSet("three figures", 1)
TO_PERCENT = Switch("mg/kg", Decimal(10000), "%", Decimal(10000))
NO_BREAK = "\u00a0"


def printed_of(value: float | None, detection: float, rule: RuleSet = RULE, **other: object) -> PrintedValue:
    given_numbers = {
        "unit": "mg/kg",
        "quantification_limit": 3 * detection,
        "upper_limit": 10000.0,
        "reporting_limit": None,
    } | other
    return print_result(value, detection_limit=detection, rule_set=rule, **given_numbers)  # type: ignore[arg-type]


# The worked table of reports/rules/ruleset.py.
@pytest.mark.parametrize(
    ("value", "detection", "printed"),
    [
        (4.11991, 0.01, "4.12"),
        (0.138604, 0.01, "0.14"),
        (0.0187, 0.01, "0.02"),
        (0.00962, 0.01, "<0.01"),
        (65.55, 0.5, "65.6"),
        (74.85, 0.5, "74.8"),
        (9.996, 0.01, "10.0"),
        (30912.0, 0.5, ">10\u00a0000"),
        (None, 0.5, "no value"),
    ],
    ids=str,
)
def test_worked_table(value: float | None, detection: float, printed: str) -> None:
    assert printed_of(value, detection).printed == printed


# The worked table of reports/rules/printing.py.
@pytest.mark.parametrize(
    ("value", "marks", "printed", "number", "sign", "limit", "because"),
    [
        (0.34, (), "0.3", "0.3", "", None, "one decimal: no finer than the detection limit"),
        (0.19, (), "<0.2", None, "<", "0.2", "below the detection limit"),
        (None, (Mark.OVER_RANGE,), ">500", None, ">", "500", "above the range"),
        (None, (), "not received", None, "", None, "in words"),
        (12.34, (), "12.3", "12.3", "", None, "three figures"),
    ],
    ids=str,
)
def test_every_part_of_a_print(
    value: float | None,
    marks: tuple[Mark, ...],
    printed: str,
    number: str | None,
    sign: str,
    limit: str | None,
    because: str,
) -> None:
    found = printed_of(value, 0.2, upper_limit=500.0, marks=marks, why_no_value="not received")
    assert (found.printed, found.number, found.sign, found.limit, found.text_rule, found.unit) == (
        printed,
        number,
        sign,
        limit,
        because,
        "mg/kg",
    )


@pytest.mark.parametrize(
    ("value", "reporting", "finest", "because"),
    [
        (0.7, 1.0, (), "below the reporting limit"),
        (0.1, None, (), "below the detection limit"),
        (1.26, 1.0, (), "no decimals: no finer than the reporting limit"),
        (4.268, 1.5, (("mg/kg", 0),), "no decimals: the finest for mg/kg"),
        (1.77, 1.5, (), "one decimal: no finer than the reporting limit"),
    ],
)
def test_the_reason_names_what_decided(
    value: float, reporting: float | None, finest: tuple[tuple[str, int], ...], because: str
) -> None:
    rule = replace(RULE, below=Below.REPORTING_LIMIT, finest_decimals=finest)
    assert printed_of(value, 0.2, rule, reporting_limit=reporting).text_rule == because


@pytest.mark.parametrize(
    ("value", "finest", "printed", "because"),
    [
        (250.4, (), "250.4", "four figures"),
        (10974.0, (), ">9\u00a0978", "above the range"),
        (0.1, (), "<0.205", "below the detection limit"),
        (0.3449, (("mg/kg", 0),), "0.34", "two decimals: no finer than the detection limit"),
    ],
    ids=str,
)
def test_one_more_figure(value: float, finest: tuple[tuple[str, int], ...], printed: str, because: str) -> None:
    # given a rule of three figures, and results of a printed detection limit with one decimal
    rule = replace(RULE, finest_decimals=finest)
    # when one more is asked for
    found = printed_of(value, 0.2049, rule, upper_limit=9978.4, extra_figures=1)
    # then it is there, whichever bound had held it back
    assert (found.printed, found.text_rule) == (printed, because)


def test_thousands_are_parted_for_readers_and_not_for_programs() -> None:
    found = printed_of(18704.3, 0.5, upper_limit=None)
    assert (found.printed, found.number, found.decimals) == ("18\u00a0700", "18700", 0)


# The worked table of reports/rules/censoring.py: detection 0.2, quantification 0.6, reporting 1, top 500.
@pytest.mark.parametrize(
    ("value", "below", "sign", "marks"),
    [
        (0.1999, Below.DETECTION_LIMIT, "<", (Mark.BELOW_DETECTION,)),
        (0.2, Below.DETECTION_LIMIT, "", (Mark.BELOW_QUANTIFICATION,)),
        (0.6, Below.DETECTION_LIMIT, "", ()),
        (0.7, Below.REPORTING_LIMIT, "<", ()),
        (0.3, Below.REPORTING_LIMIT, "<", (Mark.BELOW_QUANTIFICATION,)),
        (0.59, Below.QUANTIFICATION_LIMIT, "<", (Mark.BELOW_QUANTIFICATION,)),
        (500.0, Below.DETECTION_LIMIT, "", ()),
        (500.01, Below.DETECTION_LIMIT, ">", (Mark.OVER_RANGE,)),
        (-0.4, Below.DETECTION_LIMIT, "<", (Mark.BELOW_DETECTION,)),
        (None, Below.DETECTION_LIMIT, None, (Mark.NO_VALUE,)),
    ],
    ids=str,
)
def test_signs_and_marks(value: float | None, below: Below, sign: str | None, marks: tuple[Mark, ...]) -> None:
    decision = decide(value, Limits(0.2, 0.6, 500.0, 1.0), below)
    assert (decision.sign, decision.marks) == (sign, marks)


def test_a_reporting_limit_below_the_detection_limit_hides_nothing_of_it() -> None:
    decision = decide(0.15, Limits(0.2, 0.6, 500.0, 0.1), Below.REPORTING_LIMIT)
    assert (decision.sign, decision.limit, decision.marks) == ("<", 0.2, (Mark.BELOW_DETECTION,))


def test_saturated_has_no_value_and_is_printed_as_above_the_range() -> None:
    found = printed_of(None, 0.5, marks=(Mark.OVER_RANGE,), why_no_value="saturated")
    assert (found.printed, found.sign, found.limit, found.number) == (">10\u00a0000", ">", "10000", None)


def test_over_a_range_whose_end_is_not_known_is_said_in_words() -> None:
    assert printed_of(None, 0.5, upper_limit=None, marks=(Mark.OVER_RANGE,)).printed == "over range"


def test_no_value_is_printed_in_words() -> None:
    found = printed_of(None, 0.5, why_no_value="insufficient sample")
    assert (found.printed, found.number, found.limit, found.marks) == (
        "insufficient sample",
        None,
        None,
        (Mark.NO_VALUE,),
    )


def test_a_failed_control_stays_marked() -> None:
    found = printed_of(0.4, 0.2, marks=(Mark.CONTROL_FAILED,))
    assert found.marks == (Mark.BELOW_QUANTIFICATION, Mark.CONTROL_FAILED)


def test_without_limits_a_number_is_printed_whatever_it_is() -> None:
    # given a loss on ignition: no detection limit, and a gain is possible
    found = print_result(-0.318, "%", None, None, None, None, replace(RULE, finest_decimals=(("%", 2),)))
    assert (found.printed, found.marks) == ("-0.32", ())


@pytest.mark.parametrize(
    ("value", "limit", "printed"),
    [
        (0.1, 0.2, "0.2"),
        (0.1, 0.20008, "0.2"),
        (0.20003, 0.20008, "0.21"),
        (0.2, 0.20008, "0.21"),
        (0.01447, 0.01449, "0.015"),
        (0.1, 0.5, "0.5"),
        (3.0, 10.04, "10"),
    ],
)
def test_limit_after_below(value: float, limit: float, printed: str) -> None:
    assert f"{round_limit_above(value, limit, 2, Tie.HALF_EVEN):f}" == printed


@pytest.mark.parametrize(
    ("value", "limit", "printed", "before"),
    [  # a portion some 4 % too light moves a limit of one figure past what it is printed as
        (1.02, 1.04, "<1.1", "<2"),
        (1.05, 1.04, "1", "1"),
        (0.0521, 0.0524, "<0.053", "<0.06"),
        (10.3, 10.4, "<11", "<11"),
        (0.1, 0.10000000000000002, "<0.1", "<0.2"),
        (0.99, 1.04, "<1", "<1"),
    ],
)
def test_a_limit_that_its_value_contradicts_goes_up_by_a_tenth_not_to_the_double(
    value: float, limit: float, printed: str, before: str
) -> None:
    found = [
        print_result(value, "mg/kg", limit, 3 * limit, None, None, RuleSet("r", 1, edition=edition)).printed
        for edition in (2, 1)
    ]
    assert found == [printed, before]


@pytest.mark.parametrize(("edition", "u"), [(2, "0.30"), (1, "0.31")])
def test_upwards_is_not_for_the_last_bit_of_a_sum(edition: int, u: str) -> None:
    rule = RuleSet("r", 1, uncertainty=UncertaintyRule.TWO_FIGURES_UP, edition=edition)
    assert print_result(12.0, "mg/kg", 0.1, 0.3, None, None, rule, expanded_u=0.1 + 0.2).u == u


@pytest.mark.parametrize(
    ("limit", "printed"), [(10000.0, "10000"), (9974.0, "9970"), (9999.999999999998, "10000"), (500.9, "500")]
)
def test_limit_after_above_goes_down(limit: float, printed: str) -> None:
    assert f"{round_limit_below(limit, 3):f}" == printed


@pytest.mark.parametrize(
    ("limit", "printed"),
    [(0.5, "0.5"), (0.0150, "0.015"), (10000.0, "10\u00a0000"), (65.2, "65"), (1526.0, "1\u00a0530"), (None, "")],
)
def test_limit_of_a_column_head(limit: float | None, printed: str) -> None:
    assert print_limit(limit, RULE) == printed


@pytest.mark.parametrize(
    ("value", "printed", "unit", "number"),
    [
        (9999.6, "10\u00a0000", "mg/kg", "10000"),
        (10000.0, "1.00\u00a0%", "%", "1.00"),
        (54270.0, "5.43\u00a0%", "%", "5.43"),
    ],
)
def test_units_switch_on_the_unrounded_value(value: float, printed: str, unit: str, number: str) -> None:
    rule = replace(RULE, switches=(TO_PERCENT,))
    found = printed_of(value, 100.0, rule, upper_limit=None)
    assert (found.printed, found.unit, found.number) == (printed, unit, number)


@pytest.mark.parametrize(("value", "printed"), [(54270.0, "5.43\u00a0%"), (1054270.0, "1\u00a0050\u00a0g/kg")])
def test_of_several_switches_the_highest_that_is_reached_counts(value: float, printed: str) -> None:
    to_grams = Switch("mg/kg", Decimal(1000000), "g/kg", Decimal(1000))
    for switches in ((TO_PERCENT, to_grams), (to_grams, TO_PERCENT)):
        assert printed_of(value, 100.0, replace(RULE, switches=switches), upper_limit=None).printed == printed


def test_uncertainty_switches_with_its_value() -> None:
    rule = replace(RULE, switches=(TO_PERCENT,))
    assert printed_of(54270.0, 100.0, rule, upper_limit=None, expanded_u=2171.0).u == "0.22"


def test_uncertainty_can_decide_the_place() -> None:
    # GUM 7.2.6: 10.05762 with u = 0.027 is 10.058
    rule = replace(RULE, uncertainty_decides=True)
    found = printed_of(10.05762, 0.00001, rule, expanded_u=0.027)
    assert (found.printed, found.u) == ("10.058", "0.027")


def test_an_uncertainty_larger_than_the_value_does_not_print_nothing() -> None:
    rule = replace(RULE, uncertainty_decides=True)
    assert printed_of(0.3, 0.2, rule, expanded_u=23.0).printed == "0.3"
    # nor one that would round the value below its limit: to one decimal 0.241 is 0.2
    assert printed_of(0.241, 0.24, rule, expanded_u=1.2).printed == "0.24"


def test_no_uncertainty_beside_a_sign() -> None:
    assert printed_of(0.1, 0.2, expanded_u=0.05).u == ""


def test_the_finest_place_of_a_unit_holds_beside_the_limit() -> None:
    rule = replace(RULE, finest_decimals=(("mg/kg", 0),))
    assert printed_of(4.6, 0.001, rule).printed == "5"
    # and gives way where nothing would be left of a value above its limit
    assert printed_of(0.34, 0.2, rule).printed == "0.3"


FULL = RuleSet(
    "all settings",
    7,
    figures=4,
    limit_figures=1,
    no_finer_than_detection_limit=False,
    finest_decimals=(("%", 2), ("mg/kg", 1)),
    tie=Tie.HALF_UP,
    below=Below.REPORTING_LIMIT,
    switches=(TO_PERCENT,),
    uncertainty=UncertaintyRule.TWO_FIGURES_UP,
    uncertainty_decides=True,
)


@pytest.mark.parametrize("rule", [RULE, FULL], ids=lambda r: r.name)
def test_rule_sets_come_back_from_text(rule: RuleSet) -> None:
    assert RuleSet.from_json(rule.to_json()) == rule


@pytest.mark.parametrize(
    ("source", "says"),
    [
        ('{"name": "x", "version": 1, "figurs": 2}', "Unknown settings: figurs. Take them out"),
        ('{"name": "x"}', "version"),
        ('{"name": "", "version": 1}', "name"),
        ('{"name": "x", "version": 1, "tie": "down"}', "down"),
        ('{"name": "x", "version": 1, "figures": 1}', "2 figures beside results of 1"),
        ('{"name": "x", "version": 1, "figures": "three"}', "cannot be read"),
        ('{"name": "x", "version": 1, "switches": [{"unit": "mg/kg"}]}', "at_least"),
        ("[]", "cannot be read"),
        ("{", "cannot be read"),
    ],
)
def test_bad_rule_sets_are_refused_by_name(source: str, says: str) -> None:
    with pytest.raises(BadRuleSet, match=says):
        RuleSet.from_json(source)


def test_a_switch_to_the_same_unit_is_refused() -> None:
    with pytest.raises(BadRuleSet, match="two units"):
        RuleSet("x", 1, switches=(replace(TO_PERCENT, to_unit="mg/kg"),))


def test_the_rule_in_words() -> None:
    assert describe(FULL) == (
        "Values are rounded once, here: four figures; %: at most two decimals; mg/kg: at most one decimal; "
        "where an uncertainty is given, to its last figure; an exact half goes away from zero. "
        "“<” means below the reporting limit that follows it, whether found or not. "
        "“>” means more than what follows it: above the range that was measured. "
        f"From 10{NO_BREAK}000 mg/kg on, results are given in %. "
        "Every decision is made on the unrounded value."
    )
    assert describe(RULE).startswith(
        "Values are rounded once, here: three figures, and no more decimals than the detection limit has; "
        "an exact half goes to the even digit. “<” means not found at the detection limit that follows it."
    )


# ------------------------------------------------------------ what holds for every result

LIMITS = st.floats(min_value=1e-6, max_value=1e3)
VALUES = st.floats(min_value=-10, max_value=1e6)
RULES = st.builds(
    RuleSet,
    name=st.just("any"),
    version=st.just(1),
    figures=st.integers(2, 6),
    limit_figures=st.integers(1, 2),
    no_finer_than_detection_limit=st.booleans(),
    finest_decimals=st.sampled_from([(), (("mg/kg", 0),), (("mg/kg", 2), ("%", 2))]),
    tie=st.sampled_from(Tie),
    below=st.sampled_from(Below),
    uncertainty_decides=st.booleans(),
    switches=st.sampled_from([(), (TO_PERCENT,)]),
)


@given(value=VALUES, detection=LIMITS, rule=RULES, other=RULES)
def test_marks_and_sign_never_depend_on_rounding(value: float, detection: float, rule: RuleSet, other: RuleSet) -> None:
    # given two rule sets that differ in everything but the limit that counts
    other = replace(other, below=rule.below)
    # when one result is printed by both
    one, two = printed_of(value, detection, rule), printed_of(value, detection, other)
    # then what is said of it is the same
    assert (one.sign, one.marks) == (two.sign, two.marks)


@given(value=VALUES, detection=LIMITS, rule=RULES, extra=st.integers(0, 1))
def test_what_follows_a_sign_is_true(value: float, detection: float, rule: RuleSet, extra: int) -> None:
    found = printed_of(value, detection, rule, extra_figures=extra)
    if found.sign == "<":
        assert Decimal(repr(value)) < Decimal(found.limit or "")
    if found.sign == ">":
        assert Decimal(repr(value)) > Decimal(found.limit or "")


@given(value=VALUES, detection=LIMITS, rule=RULES)
def test_a_number_is_never_printed_below_its_printed_limit(value: float, detection: float, rule: RuleSet) -> None:
    rule = replace(rule, switches=(), below=Below.DETECTION_LIMIT)
    found = printed_of(value, detection, rule)
    if found.number is not None:
        assert Decimal(found.number) >= Decimal(print_limit(detection, rule).replace(NO_BREAK, ""))


@given(value=VALUES, detection=LIMITS, rule=RULES, u=st.none() | st.floats(min_value=1e-6, max_value=1e4))
def test_printed_string_and_number_agree(value: float, detection: float, rule: RuleSet, u: float | None) -> None:
    found = printed_of(value, detection, rule, expanded_u=u)
    behind = found.number if found.sign == "" else found.limit
    shown = found.printed.removeprefix(found.sign).removesuffix(NO_BREAK + "%").replace(NO_BREAK, "")
    assert shown == behind
    assert (found.number is None) == (found.sign != "")
    assert len(shown.partition(".")[2]) == found.decimals
    assert found.printed.endswith("%") == (found.unit == "%")


@given(a=VALUES, b=VALUES, detection=LIMITS, rule=RULES)
@example(a=0.3, b=0.6, detection=0.2, rule=replace(RULE, finest_decimals=(("mg/kg", 0),)))
def test_order_of_numbers_is_kept(a: float, b: float, detection: float, rule: RuleSet) -> None:
    low, high = sorted((a, b))
    one, two = printed_of(low, detection, rule), printed_of(high, detection, rule)
    if one.number and two.number and one.unit == two.unit:
        assert Decimal(one.number) <= Decimal(two.number)


def test_over_range_on_another_basis_says_so() -> None:
    # given copper over the range, of a sample whose moisture nobody measured, asked for on dry basis
    over = ResultFact(
        1, "KF26-00001", "AR", "Cu", "Cu", "mg/kg", Basis.AS_RECEIVED, None, 0.2, 0.6, None, 500.0, None,
        (Mark.OVER_RANGE,), "over range",
    )  # fmt: skip
    found = print_one(over, None, Basis.DRY, RuleSet("r", 1))
    assert found.value.printed == ">500"
    assert [words for words in found.remarks if "unlike its column" in words]
    with pytest.raises(WrongBasis, match="dry basis only"):
        print_one(over, None, Basis.DRY, RuleSet("r", 1, basis=Basis.DRY))
