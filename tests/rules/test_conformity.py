"""Statements of conformity, and the print beside them."""

import statistics
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.terms import Basis, DecisionRule, LimitSide
from reports.rules.censoring import Below, Limits
from reports.rules.compared import Compared, print_compared, print_contradicts, probability_text
from reports.rules.conformity import (
    Found,
    Limit,
    NotComparable,
    Rule,
    Statement,
    compare,
    conformity_probability,
    guard_band,
    normal_quantile,
    probability,
)
from reports.rules.printing import Measured, print_measured
from reports.rules.ruleset import RuleSet, Switch
from tests.rules.published import published

FOUR = published("conformity")["four_statements"]
RULE = RuleSet("three figures", 1)
OLD_RULES = (DecisionRule.SIMPLE, DecisionRule.GUARDED, DecisionRule.FOUR_STATEMENTS)
RISKS = st.floats(min_value=0.01, max_value=50)
RULES = st.one_of(
    st.sampled_from([Rule(kind) for kind in OLD_RULES]),
    st.builds(Rule, st.sampled_from([DecisionRule.BY_RISK, DecisionRule.PROBABILITY]), RISKS),
    st.just(Rule(DecisionRule.PROBABILITY)),
)
PLAIN = {"pass": Statement.CONFORMS, "fail": Statement.DOES_NOT_CONFORM}
WITH_U = PLAIN | {
    "conditional pass": Statement.CONFORMS_WITHIN_U,
    "conditional fail": Statement.DOES_NOT_WITHIN_U,
}


@pytest.mark.parametrize("row", FOUR["rows"], ids=lambda row: f"ILAC-G8 4.2, result {row['result']}")
@pytest.mark.parametrize(
    ("rule", "column"),
    [(DecisionRule.SIMPLE, "simple"), (DecisionRule.GUARDED, "guarded"), (DecisionRule.FOUR_STATEMENTS, "four")],
    ids=["simple", "guarded", "four statements"],
)
def test_three_rules_on_ten_results(row: dict[str, Any], rule: DecisionRule, column: str) -> None:
    limit = Limit(FOUR["limit_mg_per_kg"], "mg/kg")
    found = Found(row["result"], "mg/kg", expanded_u=FOUR["U"])
    assert compare(found, limit, Rule(rule)) is WITH_U[row[column]]


@pytest.mark.parametrize("kind", [DecisionRule.BY_RISK, DecisionRule.PROBABILITY])
@pytest.mark.parametrize("row", FOUR["rows"], ids=lambda row: f"Eurachem/CITAC 2021, annex A, result {row['result']}")
def test_a_guard_band_of_1_64_u(row: dict[str, Any], kind: DecisionRule) -> None:
    found = Found(row["result"], "mg/kg", expanded_u=FOUR["U"])
    rounded = Rule(kind, 5.051)  # the guide rounds z to 1.64, which is a risk of 5.05 %
    assert compare(found, Limit(FOUR["limit_mg_per_kg"], "mg/kg"), rounded) is PLAIN[row["guard_5_percent"]]
    # and that the limit is exceeded is shown when the result keeps the band on the other side of it
    exceeds = compare(found, Limit(FOUR["limit_mg_per_kg"], "mg/kg", LimitSide.AT_LEAST), Rule(kind, 5.0))
    assert (exceeds is Statement.CONFORMS) == (row["shown_to_exceed_5_percent"] == "fail")


@pytest.mark.parametrize("row", FOUR["rows"], ids=lambda row: f"u = 0.01, result {row['result']}")
def test_probability_of_conformity_near_a_limit(row: dict[str, Any]) -> None:
    found = Found(row["result"], "mg/kg", expanded_u=FOUR["U"])
    known = conformity_probability(found, Limit(FOUR["limit_mg_per_kg"], "mg/kg"))
    assert known == pytest.approx(row["probability"], abs=5e-5)
    other = conformity_probability(found, Limit(FOUR["limit_mg_per_kg"], "mg/kg", LimitSide.AT_LEAST))
    assert other == pytest.approx(1 - row["probability"], abs=5e-5)


@pytest.mark.parametrize("row", published("conformity")["probabilities"]["rows"], ids=lambda row: str(row["name"]))
def test_probabilities_of_jcgm_106(row: dict[str, Any]) -> None:
    limits = {side: row[side] for side in ("lower", "upper") if side in row}
    known = probability(row["y"], row["u"], **limits)
    assert known == pytest.approx(row["expected"], abs=5e-6)
    assert round(known, 2) == row["printed"]


@pytest.mark.parametrize("row", published("conformity")["normal_quantiles"]["rows"], ids=lambda row: f"p {row['p']}")
def test_quantiles_of_jcgm_106(row: dict[str, Any]) -> None:
    rule = Rule(DecisionRule.BY_RISK, 100 * (1 - row["p"]))
    assert normal_quantile(rule) == pytest.approx(row["z"], abs=5e-5)


def test_the_speed_limit_of_jcgm_106() -> None:
    # given a limit of 100, a relative standard uncertainty of 2 %, and 99.9 % wanted that it is really exceeded
    case, rule = published("conformity")["speed_limit"], Rule(DecisionRule.BY_RISK, 0.1)

    def shown(speed: float) -> Statement:
        found = Found(speed, "km/h", expanded_u=2 * case["relative_u"] * speed)
        return compare(found, Limit(case["limit"], "km/h", LimitSide.AT_LEAST), rule)

    # then it is shown from 106.59 on, printed as 107
    threshold = case["expected_threshold"]
    assert [shown(threshold - 1e-3), shown(threshold + 1e-3)] == [Statement.DOES_NOT_CONFORM, Statement.CONFORMS]
    found = Found(107.0, "km/h", expanded_u=2 * case["relative_u"] * 107)
    beyond = conformity_probability(found, Limit(case["limit"], "km/h", LimitSide.AT_LEAST))
    assert beyond == pytest.approx(case["expected_probability_at_107"], abs=5e-7)


@pytest.mark.parametrize("row", published("conformity")["multiples_of_u"]["rows"], ids=lambda row: str(row["rule"]))
def test_risks_at_the_acceptance_limit(row: dict[str, Any]) -> None:
    # given a result at the acceptance limit: limit less w, with w as a multiple of U = 2 u
    assert 1 - probability(-2 * row["w_over_U"], 1.0, upper=0.0) == pytest.approx(row["false_accept_at_AL"], rel=2e-3)


@given(value=st.floats(0.5, 1.5), u=st.floats(1e-3, 1), risk=RISKS, side=st.sampled_from(LimitSide))
def test_guard_band_and_probability_say_the_same(value: float, u: float, risk: float, side: LimitSide) -> None:
    found, limit = Found(value, "mg/kg", expanded_u=2 * u), Limit(1.0, "mg/kg", side)
    statement = compare(found, limit, Rule(DecisionRule.BY_RISK, risk))
    known = conformity_probability(found, limit)
    assert known is not None
    if abs(known - (1 - risk / 100)) > 1e-9:  # at the acceptance limit itself, binary arithmetic decides
        assert (statement is Statement.CONFORMS) == (known >= 1 - risk / 100)


@pytest.mark.parametrize(
    ("known", "conforms", "printed"),
    [
        (0.9772, True, "97.7\u00a0%"),
        (0.94996, False, "94.9\u00a0%"),
        (0.95, True, "95.0\u00a0%"),
        (0.99999, True, "more than 99.9\u00a0%"),
        (1.0, True, "more than 99.9\u00a0%"),
        (0.0002, False, "less than 0.1\u00a0%"),
        (0.0, False, "less than 0.1\u00a0%"),
    ],
)
def test_a_probability_is_never_printed_beyond_what_was_stated(known: float, conforms: bool, printed: str) -> None:
    assert probability_text(known, conforms) == printed


def test_a_probability_has_the_decimals_of_its_risk() -> None:
    # given 97.44 %, beside a risk of 2.57 %, whose threshold is 97.43 %
    assert probability_text(0.9744, True, 2) == "97.44\u00a0%"
    z = statistics.NormalDist().inv_cdf(0.9744)
    found = compared(250.0 - z * 2.5, 250.0, Rule(DecisionRule.PROBABILITY, 2.57), u=5.0)  # U = 5, k = 2
    assert (found.statement, found.probability) == (Statement.CONFORMS, "97.44\u00a0%")


def test_a_probability_stands_beside_its_statement() -> None:
    found = compared(245.0, 250.0, Rule(DecisionRule.PROBABILITY, 5.0), u=5.0)
    assert found.words == "conforms, probability 97.7\u00a0%"
    # and of a bound no probability is known
    below = compared(0.1, 250.0, Rule(DecisionRule.PROBABILITY, 5.0), u=5.0)
    assert (below.words, below.probability) == ("conforms", "")


def test_the_guard_band_follows_the_coverage_factor() -> None:
    found = Found(1.0, "mg/kg", expanded_u=0.3, coverage_factor=3.0)
    assert float(guard_band(found, Rule(DecisionRule.BY_RISK, 5.0)) or 0) == pytest.approx(0.16449, abs=5e-6)
    assert float(guard_band(found, Rule(DecisionRule.GUARDED)) or 0) == 0.3


@pytest.mark.parametrize("row", FOUR["rows"], ids=lambda row: f"mirrored {row['result']}")
def test_a_lower_limit_is_the_mirror_image(row: dict[str, Any]) -> None:
    limit = Limit(-FOUR["limit_mg_per_kg"], "mg/kg", LimitSide.AT_LEAST)
    found = Found(-row["result"], "mg/kg", expanded_u=FOUR["U"])
    assert compare(found, limit, Rule(DecisionRule.FOUR_STATEMENTS)) is WITH_U[row["four"]]


# At most 2 mg/kg, U = 0.5 at the bound; common practice, no source, but that it follows from the rules above.
@pytest.mark.parametrize(
    ("sign", "bound", "simple", "guarded", "four"),
    [
        ("<", 1.5, Statement.CONFORMS, Statement.CONFORMS, Statement.CONFORMS),
        ("<", 1.8, Statement.CONFORMS, Statement.CANNOT_BE_DECIDED, Statement.CONFORMS_WITHIN_U),
        ("<", 2.0, Statement.CONFORMS, Statement.CANNOT_BE_DECIDED, Statement.CONFORMS_WITHIN_U),
        ("<", 2.1, Statement.CANNOT_BE_DECIDED, Statement.CANNOT_BE_DECIDED, Statement.CANNOT_BE_DECIDED),
        (">", 1.4, Statement.CANNOT_BE_DECIDED, Statement.CANNOT_BE_DECIDED, Statement.CANNOT_BE_DECIDED),
        (">", 1.5, Statement.CANNOT_BE_DECIDED, Statement.DOES_NOT_CONFORM, Statement.CANNOT_BE_DECIDED),
        (">", 2.0, Statement.DOES_NOT_CONFORM, Statement.DOES_NOT_CONFORM, Statement.DOES_NOT_WITHIN_U),
        (">", 2.5, Statement.DOES_NOT_CONFORM, Statement.DOES_NOT_CONFORM, Statement.DOES_NOT_CONFORM),
    ],
    ids=str,
)
def test_what_is_only_known_to_lie_below_or_above(
    sign: str, bound: float, simple: Statement, guarded: Statement, four: Statement
) -> None:
    found = Found(bound, "mg/kg", sign=sign, expanded_u=0.5)
    limit = Limit(2.0, "mg/kg")
    assert [compare(found, limit, Rule(rule)) for rule in OLD_RULES] == [simple, guarded, four]


def test_below_a_bound_says_nothing_about_a_lower_limit_under_it() -> None:
    found = Found(0.5, "mg/kg", sign="<", expanded_u=0.0)
    assert (
        compare(found, Limit(0.2, "mg/kg", LimitSide.AT_LEAST), Rule(DecisionRule.SIMPLE))
        is Statement.CANNOT_BE_DECIDED
    )
    assert (
        compare(found, Limit(0.5, "mg/kg", LimitSide.AT_LEAST), Rule(DecisionRule.SIMPLE)) is Statement.DOES_NOT_CONFORM
    )


def test_without_an_uncertainty_a_guarded_rule_decides_nothing() -> None:
    assert compare(Found(1.0, "mg/kg"), Limit(2.0, "mg/kg"), Rule(DecisionRule.GUARDED)) is Statement.CANNOT_BE_DECIDED


@pytest.mark.parametrize(
    "found", [Found(1.0, "mg/L"), Found(1.0, "mg/kg", Basis.DRY)], ids=["another unit", "another basis"]
)
def test_unlike_things_are_not_compared(found: Found) -> None:
    with pytest.raises(NotComparable, match="cannot be compared with a limit in mg/kg, as received"):
        compare(found, Limit(2.0, "mg/kg"), DecisionRule.SIMPLE)


# ------------------------------------------------------------ the print beside the statement


def compared(value: float | None, limit: float, rule: Rule, u: float | None = None, **other: Any) -> Compared:
    limits = other.pop("limits", Limits(1.0, 3.0, 10000.0))
    measured = Measured(value, "mg/kg", limits, u, **other)
    return print_compared(measured, Basis.AS_RECEIVED, Limit(limit, "mg/kg"), rule, RULE)


def test_one_more_figure_where_the_print_would_mislead() -> None:
    # given 250.4 against 250, which three figures print as 250
    found = compared(250.4, 250.0, Rule(DecisionRule.SIMPLE))
    # then one more is printed
    assert (found.printed.printed, found.statement, found.footnote) == ("250.4", Statement.DOES_NOT_CONFORM, "")


def test_a_footnote_where_one_more_figure_does_not_help() -> None:
    found = compared(250.0004, 250.0, Rule(DecisionRule.SIMPLE))
    assert (found.printed.printed, found.statement) == ("250", Statement.DOES_NOT_CONFORM)
    assert found.footnote == "Compared before rounding. By the printed figures alone it would read “conforms”."


def test_the_printed_uncertainty_must_not_mislead_either() -> None:
    # given 240.46 ± 9.6 against 250: 250.06 exceeds it, but 240 + 9.6 as printed would not
    found = compared(240.46, 250.0, Rule(DecisionRule.FOUR_STATEMENTS), u=9.6)
    # then one more figure is printed: 240.5 + 9.6 exceeds it too
    assert (found.printed.printed, found.statement, found.footnote) == ("240.5", Statement.CONFORMS_WITHIN_U, "")


def test_a_limit_after_below_may_get_one_more_figure_too() -> None:
    # given a detection limit of 0.2049, which prints as 0.2, against a limit of 0.2
    found = compared(0.1, 0.2, Rule(DecisionRule.SIMPLE), limits=Limits(0.2049, 0.6, 500.0))
    assert (found.printed.printed, found.statement) == ("<0.205", Statement.CANNOT_BE_DECIDED)


def test_the_uncertainty_is_printed_where_a_statement_stands_on_it() -> None:
    # given rules that print no uncertainty: ISO/IEC 17025:2017, 7.8.3.1 c asks for it here
    rules, limit = RuleSet("without U", 1, uncertainty_shown=False), Limit(250.0, "mg/kg")
    measured = Measured(240.0, "mg/kg", Limits(1.0, 3.0), 9.6)
    assert print_measured(measured, rules).u == ""
    found = print_compared(measured, Basis.AS_RECEIVED, limit, Rule(DecisionRule.FOUR_STATEMENTS), rules)
    assert found.printed.u == "9.6"


def test_what_was_not_found_is_compared_by_its_limit_even_in_words() -> None:
    rules = RuleSet("words", 1, words_not_detected="n.d.", words_between="trace")
    for value, printed in ((0.1, "n.d."), (2.0, "trace")):
        measured = Measured(value, "mg/kg", Limits(1.0, 3.0), 0.1)
        found = [
            print_compared(measured, Basis.AS_RECEIVED, Limit(limit, "mg/kg"), Rule(DecisionRule.SIMPLE), rules)
            for limit in (0.5, 3.0)
        ]
        assert [one.printed.printed for one in found] == [printed, printed]
        assert [one.statement for one in found] == [Statement.CANNOT_BE_DECIDED, Statement.CONFORMS]


def test_words_cannot_be_decided() -> None:
    found = compared(None, 250.0, Rule(DecisionRule.SIMPLE), why_no_value="insufficient sample")
    assert (found.printed.printed, found.statement) == ("insufficient sample", Statement.CANNOT_BE_DECIDED)


def test_a_switched_unit_is_compared_in_the_unit_of_the_limit() -> None:
    rule = RuleSet("switched", 1, switches=(Switch("mg/kg", Decimal(10000), "%", Decimal(10000)),))
    measured = Measured(12049.0, "mg/kg", Limits(1.0, 3.0))
    found = print_compared(measured, Basis.AS_RECEIVED, Limit(12045.0, "mg/kg"), Rule(DecisionRule.SIMPLE), rule)
    # then 1.20 % would read as conforming, and 1.205 % does not
    assert (found.printed.printed, found.statement) == ("1.205\u00a0%", Statement.DOES_NOT_CONFORM)


@given(
    value=st.floats(min_value=0.01, max_value=1e5),
    limit=st.floats(min_value=0.01, max_value=1e4),
    u=st.floats(min_value=1e-3, max_value=50),
    rule=RULES,
    figures=st.integers(2, 5),
    below=st.sampled_from(Below),
)
def test_print_never_contradicts_the_statement_silently(
    value: float, limit: float, u: float, rule: Rule, figures: int, below: Below
) -> None:
    # given any result near or far from its limit
    rule_set = RuleSet("any", 1, figures=figures, below=below)
    measured = Measured(value, "mg/kg", Limits(0.5, 1.5, 10000.0, 2.0), u)
    asked = Limit(limit, "mg/kg")
    # when it is printed beside its statement
    found = print_compared(measured, Basis.AS_RECEIVED, asked, rule, rule_set)
    # then whoever compares the printed figures comes to the same statement, or reads why not
    printed = found.printed
    as_read = Found(
        Decimal(printed.number or printed.limit or ""),
        "mg/kg",
        sign=printed.sign,
        expanded_u=Decimal(printed.u.replace("\u00a0", "")) if printed.u else u,
    )
    assert bool(found.footnote) == print_contradicts(as_read, asked, rule, found.statement)


@given(
    value=st.floats(min_value=3, max_value=1e4),
    limit=st.floats(min_value=0.01, max_value=1e4),
    u=st.floats(min_value=1e-3, max_value=50),
    rule=RULES,
    figures=st.integers(2, 6),
)
def test_statements_never_depend_on_rounding(value: float, limit: float, u: float, rule: Rule, figures: int) -> None:
    measured = Measured(value, "mg/kg", Limits(1.0, 3.0, 10000.0), u)
    asked = Limit(limit, "mg/kg")
    found = print_compared(measured, Basis.AS_RECEIVED, asked, rule, RuleSet("any", 1, figures=figures))
    assert found.statement is compare(Found(value, "mg/kg", expanded_u=u), asked, rule)
