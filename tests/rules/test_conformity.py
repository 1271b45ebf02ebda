"""Statements of conformity, and the print beside them."""

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.terms import Basis
from reports.rules.censoring import Below, Limits
from reports.rules.conformity import (
    Compared,
    DecisionRule,
    Found,
    Limit,
    NotComparable,
    Side,
    Statement,
    compare,
    print_compared,
    print_contradicts,
)
from reports.rules.printing import Measured
from reports.rules.ruleset import RuleSet, Switch
from tests.rules.published import published

FOUR = published("conformity")["four_statements"]
RULE = RuleSet("three figures", 1)
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
    assert compare(found, limit, rule) is WITH_U[row[column]]


@pytest.mark.parametrize("row", FOUR["rows"], ids=lambda row: f"mirrored {row['result']}")
def test_a_lower_limit_is_the_mirror_image(row: dict[str, Any]) -> None:
    limit = Limit(-FOUR["limit_mg_per_kg"], "mg/kg", Side.AT_LEAST)
    found = Found(-row["result"], "mg/kg", expanded_u=FOUR["U"])
    assert compare(found, limit, DecisionRule.FOUR_STATEMENTS) is WITH_U[row["four"]]


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
    assert [compare(found, limit, rule) for rule in DecisionRule] == [simple, guarded, four]


def test_below_a_bound_says_nothing_about_a_lower_limit_under_it() -> None:
    found = Found(0.5, "mg/kg", sign="<", expanded_u=0.0)
    assert compare(found, Limit(0.2, "mg/kg", Side.AT_LEAST), DecisionRule.SIMPLE) is Statement.CANNOT_BE_DECIDED
    assert compare(found, Limit(0.5, "mg/kg", Side.AT_LEAST), DecisionRule.SIMPLE) is Statement.DOES_NOT_CONFORM


def test_without_an_uncertainty_a_guarded_rule_decides_nothing() -> None:
    assert compare(Found(1.0, "mg/kg"), Limit(2.0, "mg/kg"), DecisionRule.GUARDED) is Statement.CANNOT_BE_DECIDED


@pytest.mark.parametrize(
    "found", [Found(1.0, "mg/L"), Found(1.0, "mg/kg", Basis.DRY)], ids=["another unit", "another basis"]
)
def test_unlike_things_are_not_compared(found: Found) -> None:
    with pytest.raises(NotComparable, match="cannot be compared with a limit in mg/kg, as received"):
        compare(found, Limit(2.0, "mg/kg"), DecisionRule.SIMPLE)


# ------------------------------------------------------------ the print beside the statement


def compared(value: float | None, limit: float, rule: DecisionRule, u: float | None = None, **other: Any) -> Compared:
    limits = other.pop("limits", Limits(1.0, 3.0, 10000.0))
    measured = Measured(value, "mg/kg", limits, u, **other)
    return print_compared(measured, Basis.AS_RECEIVED, Limit(limit, "mg/kg"), rule, RULE)


def test_one_more_figure_where_the_print_would_mislead() -> None:
    # given 250.4 against 250, which three figures print as 250
    found = compared(250.4, 250.0, DecisionRule.SIMPLE)
    # then one more is printed
    assert (found.printed.printed, found.statement, found.footnote) == ("250.4", Statement.DOES_NOT_CONFORM, "")


def test_a_footnote_where_one_more_figure_does_not_help() -> None:
    found = compared(250.0004, 250.0, DecisionRule.SIMPLE)
    assert (found.printed.printed, found.statement) == ("250", Statement.DOES_NOT_CONFORM)
    assert found.footnote == "Compared before rounding. By the printed figures alone it would read “conforms”."


def test_the_printed_uncertainty_must_not_mislead_either() -> None:
    # given 240.46 ± 9.6 against 250: 250.06 exceeds it, but 240 + 9.6 as printed would not
    found = compared(240.46, 250.0, DecisionRule.FOUR_STATEMENTS, u=9.6)
    # then one more figure is printed: 240.5 + 9.6 exceeds it too
    assert (found.printed.printed, found.statement, found.footnote) == ("240.5", Statement.CONFORMS_WITHIN_U, "")


def test_a_limit_after_below_may_get_one_more_figure_too() -> None:
    # given a detection limit of 0.2049, which prints as 0.2, against a limit of 0.2
    found = compared(0.1, 0.2, DecisionRule.SIMPLE, limits=Limits(0.2049, 0.6, 500.0))
    assert (found.printed.printed, found.statement) == ("<0.205", Statement.CANNOT_BE_DECIDED)


def test_words_cannot_be_decided() -> None:
    found = compared(None, 250.0, DecisionRule.SIMPLE, why_no_value="insufficient sample")
    assert (found.printed.printed, found.statement) == ("insufficient sample", Statement.CANNOT_BE_DECIDED)


def test_a_switched_unit_is_compared_in_the_unit_of_the_limit() -> None:
    rule = RuleSet("switched", 1, switches=(Switch("mg/kg", Decimal(10000), "%", Decimal(10000)),))
    measured = Measured(12049.0, "mg/kg", Limits(1.0, 3.0))
    found = print_compared(measured, Basis.AS_RECEIVED, Limit(12045.0, "mg/kg"), DecisionRule.SIMPLE, rule)
    # then 1.20 % would read as conforming, and 1.205 % does not
    assert (found.printed.printed, found.statement) == ("1.205\u00a0%", Statement.DOES_NOT_CONFORM)


@given(
    value=st.floats(min_value=0.01, max_value=1e5),
    limit=st.floats(min_value=0.01, max_value=1e4),
    u=st.floats(min_value=1e-3, max_value=50),
    rule=st.sampled_from(DecisionRule),
    figures=st.integers(2, 5),
    below=st.sampled_from(Below),
)
def test_print_never_contradicts_the_statement_silently(
    value: float, limit: float, u: float, rule: DecisionRule, figures: int, below: Below
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
    rule=st.sampled_from(DecisionRule),
    figures=st.integers(2, 6),
)
def test_statements_never_depend_on_rounding(
    value: float, limit: float, u: float, rule: DecisionRule, figures: int
) -> None:
    measured = Measured(value, "mg/kg", Limits(1.0, 3.0, 10000.0), u)
    asked = Limit(limit, "mg/kg")
    found = print_compared(measured, Basis.AS_RECEIVED, asked, rule, RuleSet("any", 1, figures=figures))
    assert found.statement is compare(Found(value, "mg/kg", expanded_u=u), asked, rule)
