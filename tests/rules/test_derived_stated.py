"""Derived results beside limits: published examples, what a term below its limit leaves open, what the print says."""

from dataclasses import replace
from math import sqrt
from statistics import NormalDist
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.calculation.derived import derive
from labresults.calculation.derived_terms import Definition
from labresults.terms import Basis, BelowInSum, DecisionRule, LimitSide
from reports.derived import PrintedDerived
from reports.derived_stated import print_derived
from reports.facts import DerivedFact, LimitFact
from reports.rules.censoring import Below
from reports.rules.conformity import Found, Limit, Rule, Statement, compare
from reports.rules.ruleset import RuleSet
from tests.calculation.derived_builders import a_sum, found, shipped
from tests.rules.published import published

RULES = RuleSet("Rules", 1)
PUBLISHED = published("conformity")
WORDS = {
    "pass": "conforms", "fail": "does not conform", "conditional pass": "conforms, within U",
    "conditional fail": "does not conform, within U",
}  # fmt: skip
SUM = a_sum("Ca", "Mg")


def stated(
    definition: Definition,
    values: dict[str, float | None],
    limit: float,
    rule: DecisionRule = DecisionRule.SIMPLE,
    risk_percent: float | None = None,
    *,
    side: LimitSide = LimitSide.AT_MOST,
    rules: RuleSet = RULES,
    basis: Basis = Basis.AS_RECEIVED,
    unit: str = "",
    **inputs: Any,
) -> PrintedDerived:
    """A derived result of these contents, mg/L, as printed beside a limit in the unit of its definition."""
    derived = derive(definition, found(definition, values, "mg/L", **inputs))
    one = LimitFact(
        "", limit, unit or definition.unit, "invented", basis, "set", side, rule, risk_percent, definition.code
    )
    (printed,) = print_derived([DerivedFact(definition, derived, "KF26-00001", limit_set="set")], rules, [one])
    return printed


def statement_of(printed: PrintedDerived) -> str:
    assert printed.compared is not None
    return printed.compared.words


@pytest.mark.parametrize("row", PUBLISHED["four_statements"]["rows"], ids=lambda row: str(row["result"]))
@pytest.mark.parametrize(
    ("rule", "risk", "column"),
    [
        (DecisionRule.SIMPLE, None, "simple"),
        (DecisionRule.GUARDED, None, "guarded"),
        (DecisionRule.FOUR_STATEMENTS, None, "four"),
        (DecisionRule.BY_RISK, 100 * NormalDist().cdf(-1.64), "guard_5_percent"),  # the guide's factor for 5 %
    ],
)
def test_a_sum_is_stated_as_the_published_results_are(
    row: dict[str, Any], rule: DecisionRule, risk: float | None, column: str
) -> None:
    # ILAC-G8:09/2019, 4.2, Eurachem/CITAC 2021, annex A: u = 0.01. Two independent halves with u / √2 each give it.
    half, u = row["result"] / 2, PUBLISHED["four_statements"]["u"] / sqrt(2)
    printed = stated(SUM, {"Ca": half, "Mg": row["result"] - half}, 0.1, rule, risk, u=u)
    assert statement_of(printed) == WORDS[row[column]]


@pytest.mark.parametrize("row", PUBLISHED["four_statements"]["rows"], ids=lambda row: str(row["result"]))
def test_the_probability_of_a_sum_is_the_published_one(row: dict[str, Any]) -> None:
    # JCGM 106:2012, 7
    half, u = row["result"] / 2, PUBLISHED["four_statements"]["u"] / sqrt(2)
    words = statement_of(stated(SUM, {"Ca": half, "Mg": row["result"] - half}, 0.1, DecisionRule.PROBABILITY, 5.0, u=u))
    printed = float(words.rpartition("probability ")[2].removesuffix("\u00a0%"))
    assert printed == pytest.approx(100 * row["probability"], abs=0.11)  # cut off, where it does not conform


def test_the_container_of_jcgm_106_as_a_sum() -> None:
    # JCGM 106:2012, 7: at least 490, found 509.7 with u = 8.6: 0.99. Here 300 with u = 6 and 209.7 with the rest.
    example = next(row for row in PUBLISHED["probabilities"]["rows"] if "container" in row["name"])
    rest = sqrt(example["u"] ** 2 - 6.0**2)
    printed = stated(
        SUM, {"Ca": 300.0, "Mg": example["y"] - 300.0}, example["lower"], DecisionRule.PROBABILITY,
        side=LimitSide.AT_LEAST, u={"Ca": 6.0, "Mg": rest},
    )  # fmt: skip
    assert statement_of(printed) == f"conforms, probability {100 * example['expected']:.1f}\u00a0%"


@pytest.mark.parametrize(
    ("calcium", "limit", "words"),
    [
        # Ca 2 and 2.5: sum 2 to 3, for Mg is below its detection limit of 1
        (2.0, 3.0, "conforms"),
        (2.0, 2.9, "cannot be decided"),
        (2.0, 2.0, "cannot be decided"),
        (2.0, 1.9, "does not conform"),
    ],
)
@pytest.mark.parametrize("below", list(BelowInSum))
def test_what_was_not_found_is_judged_at_both_ends(calcium: float, limit: float, words: str, below: BelowInSum) -> None:
    printed = stated(
        a_sum("Ca", "Mg", below=below), {"Ca": calcium, "Mg": 0.4}, limit, detection_limit={"Ca": 0.1, "Mg": 1.0}
    )
    assert statement_of(printed) == words
    why = "Cannot be decided: a term was not found, so that it may lie anywhere between 2 and 3 mg/L."
    assert (why in printed.remarks) == (words == "cannot be decided")


def test_of_what_lies_between_two_ends_no_probability_is_given() -> None:
    limits = {"Ca": 0.1, "Mg": 1.0}
    printed = stated(
        SUM, {"Ca": 2.0, "Mg": 0.4}, 9.0, DecisionRule.PROBABILITY, 5.0, detection_limit=limits, u=0.1
    )  # fmt: skip
    assert statement_of(printed) == "conforms"


def test_within_u_at_one_end_is_within_u() -> None:
    # given 2 to 3, U = 0.4: the upper end of 2 is 2.4, of 3 it is 3.4
    given = {"detection_limit": {"Ca": 0.1, "Mg": 1.0}, "u": {"Ca": 0.2, "Mg": 0.0}}
    four = DecisionRule.FOUR_STATEMENTS
    assert statement_of(stated(SUM, {"Ca": 2.0, "Mg": 0.4}, 3.2, four, **given)) == "conforms, within U"
    assert statement_of(stated(SUM, {"Ca": 2.0, "Mg": 0.4}, 1.8, four, **given)) == "does not conform, within U"
    assert statement_of(stated(SUM, {"Ca": 2.0, "Mg": 0.4}, 3.4, four, **given)) == "conforms"


@pytest.mark.parametrize(
    ("limit", "side", "words"),
    [
        (2.0, LimitSide.AT_MOST, "conforms"),  # nothing found of either: < 2, the limits added up
        (1.9, LimitSide.AT_MOST, "cannot be decided"),
        (2.0, LimitSide.AT_LEAST, "does not conform"),
        (1.9, LimitSide.AT_LEAST, "cannot be decided"),
    ],
)
def test_a_bound_is_treated_as_that_of_a_result(limit: float, side: LimitSide, words: str) -> None:
    printed = stated(SUM, {"Ca": 0.3, "Mg": 0.4}, limit, side=side, detection_limit=1.0)
    assert printed.value.printed == "<2"
    assert statement_of(printed) == words


def test_what_is_over_range_decides_where_it_is_certain_and_has_no_uncertainty() -> None:
    over = {"over_range": {"Ca": True, "Mg": False}, "upper_limit": {"Ca": 500.0, "Mg": None}, "u": 1.0}
    values = {"Ca": None, "Mg": 20.0}  # more than 520
    assert statement_of(stated(SUM, values, 400.0, **over)) == "does not conform"
    assert statement_of(stated(SUM, values, 600.0, **over)) == "cannot be decided"
    guarded = stated(SUM, values, 400.0, DecisionRule.GUARDED, **over)
    assert statement_of(guarded) == "cannot be decided"
    assert any("the decision rule needs an uncertainty" in remark for remark in guarded.remarks)


@pytest.mark.parametrize("rule", [rule for rule in DecisionRule if rule is not DecisionRule.SIMPLE])
def test_without_an_uncertainty_nothing_is_stated_where_the_rule_needs_one(rule: DecisionRule) -> None:
    printed = stated(SUM, {"Ca": 2.0, "Mg": 3.0}, 500.0, rule, 5.0 if rule is DecisionRule.BY_RISK else None)
    assert statement_of(printed) == "cannot be decided"
    assert printed.remarks == (
        "Cannot be decided: the decision rule needs an uncertainty, and none is known of this computed result.",
    )


def test_another_unit_or_basis_is_not_converted() -> None:
    values = {"Ca": 2.0, "Mg": 3.0}
    for other in ({"unit": "g/L"}, {"basis": Basis.DRY}):
        printed = stated(SUM, values, 500.0, **other)  # type: ignore[arg-type]
        assert statement_of(printed) == "cannot be decided"
        assert printed.remarks[0].startswith("Cannot be decided: the limit is in ")


def test_what_has_no_value_or_lacks_a_term_is_not_decided() -> None:
    part = replace(SUM, all_needed=False)
    lacking = stated(part, {"Ca": 2.0}, 500.0)
    assert statement_of(lacking) == "cannot be decided"
    assert "Cannot be decided: a part of it was not measured." in lacking.remarks
    none = stated(SUM, {"Ca": 2.0}, 500.0)
    assert (none.value.printed, statement_of(none)) == ("no value", "cannot be decided")


def test_a_sum_that_floating_numbers_miss_is_at_its_limit() -> None:
    assert 0.1 + 0.2 > 0.3  # as a computer has it
    assert statement_of(stated(SUM, {"Ca": 0.1, "Mg": 0.2}, 0.3)) == "conforms"


def test_the_print_agrees_with_the_statement_or_says_why_not() -> None:
    # given 250.4 against 250, which three figures would print as 250
    printed = stated(SUM, {"Ca": 200.4, "Mg": 50.0}, 250.0)
    assert (printed.value.printed, statement_of(printed)) == ("250.4", "does not conform")
    # and 250.04, which one figure more does not show
    printed = stated(SUM, {"Ca": 200.04, "Mg": 50.0}, 250.0)
    assert (printed.value.printed, statement_of(printed)) == ("250", "does not conform")
    assert printed.remarks == (
        "Compared before rounding. By the printed figures alone it would read “conforms”.",
    )  # fmt: skip


def test_what_is_printed_below_its_quantification_limit_is_known_to_that_only() -> None:
    rules = replace(RULES, below=Below.QUANTIFICATION_LIMIT)
    # root of squares: detection limit 1.41, quantification limit 4.24
    given = {"detection_limit": 1.0, "quantification_limit": 3.0, "rules": rules}
    assert statement_of(stated(SUM, {"Ca": 1.5, "Mg": 1.5}, 4.0, **given)) == "cannot be decided"
    assert statement_of(stated(SUM, {"Ca": 1.5, "Mg": 1.5}, 4.5, **given)) == "conforms"
    # 3.5 with up to 1 that was not found: it is printed < 4.5, which 4.3 leaves open
    assert statement_of(stated(SUM, {"Ca": 3.5, "Mg": 0.4}, 4.3, **given)) == "cannot be decided"
    assert statement_of(stated(SUM, {"Ca": 3.5, "Mg": 0.4}, 4.5, **given)) == "conforms"


def test_uncertainty_stands_beside_a_statement_even_where_rules_leave_it_out() -> None:
    silent = replace(RULES, uncertainty_shown=False)
    assert stated(SUM, {"Ca": 2.0, "Mg": 3.0}, 500.0, rules=silent, u=0.1).value.u
    derived = derive(SUM, found(SUM, {"Ca": 2.0, "Mg": 3.0}, "mg/L", u=0.1))
    (alone,) = print_derived([DerivedFact(SUM, derived, "KF26-00001")], silent)
    assert (alone.value.u, alone.compared) == ("", None)


def test_hardness_against_a_limit_by_hand() -> None:
    # Standard Methods 2340 B: 2.497 × 58 + 4.118 × 15 = 206.6 mg/L
    hardness = shipped("hardness")
    assert statement_of(stated(hardness, {"Ca": 58.0, "Mg": 15.0}, 207.0)) == "conforms"
    assert statement_of(stated(hardness, {"Ca": 58.0, "Mg": 15.0}, 206.0)) == "does not conform"


AMOUNTS = st.floats(min_value=0.0, max_value=10.0)
RULES_OF_ALL = st.sampled_from([(rule, 5.0 if rule is DecisionRule.BY_RISK else None) for rule in DecisionRule])


@given(
    calcium=AMOUNTS, magnesium=AMOUNTS, limit=st.floats(min_value=0.01, max_value=20.0), rule=RULES_OF_ALL,
    side=st.sampled_from(LimitSide), below=st.sampled_from(BelowInSum), share=st.floats(min_value=0, max_value=1),
)  # fmt: skip
def test_whatever_was_not_found_a_statement_is_never_false(
    calcium: float, magnesium: float, limit: float, rule: tuple[DecisionRule, float | None], side: LimitSide,
    below: BelowInSum, share: float,
) -> None:  # fmt: skip
    # given two elements with a detection limit of 1, and where below it the truth lies in fact
    truth = sum(share if value < 1 else value for value in (calcium, magnesium))
    printed = stated(
        a_sum("Ca", "Mg", below=below), {"Ca": calcium, "Mg": magnesium}, limit, *rule, side=side,
        detection_limit=1.0, u=0.05,
    )  # fmt: skip
    assert printed.compared is not None
    if printed.compared.statement is Statement.CANNOT_BE_DECIDED or abs(truth - limit) < 1e-9:
        return
    # then it does not say the opposite of what the truth, read with the same U, would be given
    known = Found(truth, "mg/L", expanded_u=0.1 * sqrt(2))
    of_truth = compare(known, Limit(limit, "mg/L", side), Rule(*rule))
    met = {Statement.CONFORMS, Statement.CONFORMS_WITHIN_U}
    assert (of_truth in met) == (printed.compared.statement in met)
