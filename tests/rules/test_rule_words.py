"""Rules in words: what a certificate says of them, what the page of a rule set says, and what a reader is told of U."""

from decimal import Decimal

import pytest

from labresults.terms import Basis, DecisionRule, Mark, Tie
from reports.rules.censoring import Below
from reports.rules.conformity import Rule
from reports.rules.decision_words import rule_text
from reports.rules.rule_words import code_words, decision_words, describe, in_full
from reports.rules.ruleset import Code, RuleSet, Size, Switch
from reports.rules.uncertainty import UncertaintyRule

SPACE = "\N{NO-BREAK SPACE}"
PLAIN = RuleSet("plain", 1)
EVERYTHING = RuleSet(
    "everything", 1, figures=4, limit_figures=2, no_finer_than_detection_limit=False,
    finest_decimals=(("%", 2), ("mg/kg", 1)), tie=Tie.HALF_UP, below=Below.QUANTIFICATION_LIMIT,
    switches=(Switch("mg/kg", Decimal(10000), "%", Decimal(10000)),), uncertainty=UncertaintyRule.TWO_FIGURES_UP,
    uncertainty_decides=True, figures_by_size=(Size(Decimal(1000), 5),), not_found_by_detection_limit=True,
    words_between="trace", words_above="much", forms=(("Al", "Al2O3"), ("P", "P2O5")), basis=Basis.DRY,
    codes=(Code("J", "estimate"), Code("U", "not found")), decision_rule=DecisionRule.BY_RISK, risk_percent=2.5,
)  # fmt: skip


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        (
            PLAIN,
            "Values are rounded once, here: three figures, and no more decimals than the detection limit has; an exact "
            "half goes to the even digit. “<” means not found at the detection limit that follows it. “>” means more "
            "than what follows it: above the range that was measured. Every decision is made on the unrounded value.",
        ),
        (
            EVERYTHING,
            f"Values are rounded once, here: four figures, from 1{SPACE}000 on five figures; %: at most two decimals; "
            "mg/kg: at most one decimal; where an uncertainty is given, to its last figure; an exact half goes away "
            "from zero. “<” means below the quantification limit that follows it, whether found or not. What was not "
            "found is given by its detection limit. “trace” means found, below the quantification limit. “much” means "
            "above the range that was measured. Every value is on one basis: dry basis. "
            f"From 10{SPACE}000 mg/kg on, results are given in %. Every decision is made on the unrounded value.",
        ),
        (  # words for what was not found stand where no “<” is printed
            RuleSet("words", 1, words_not_detected="n.d.", not_found_by_detection_limit=True),
            "Values are rounded once, here: three figures, and no more decimals than the detection limit has; an exact "
            "half goes to the even digit. “n.d.” means below the detection limit. “>” means more than what follows it: "
            "above the range that was measured. Every decision is made on the unrounded value.",
        ),
        (
            RuleSet("words", 1, words_not_detected="n.d.", below=Below.REPORTING_LIMIT),
            "Values are rounded once, here: three figures, and no more decimals than the reporting limit has; an exact "
            "half goes to the even digit. “<” means below the reporting limit that follows it, whether found or not. "
            "“n.d.” means below the detection limit. “>” means more than what follows it: above the range that was "
            "measured. Every decision is made on the unrounded value.",
        ),
    ],
    ids=["plain", "everything", "words", "words beside a limit"],
)
def test_what_a_certificate_says_of_its_rules(rule: RuleSet, said: str) -> None:
    assert describe(rule) == said


@pytest.mark.parametrize(
    ("rule", "rows"),
    [
        (
            PLAIN,
            {
                "Figures": "3",
                "Figures of a limit": "at most 2",
                "No finer than the limit": "yes",
                "Finest place": "",
                "An exact half": "to the even digit",
                "A number must reach": "the detection limit",
                "Below the detection limit": "as all that is below",
                "Between the two limits": "a number, with a remark",
                "Above the range": "“>” and the end of the range",
                "Other units": "",
                "Oxide or element": "",
                "Basis": "as each request asks",
                "Uncertainty": "two figures",
                "Qualifiers": "letters, explained one by one",
                "Statement of conformity": "four statements with U",
            },
        ),
        (
            EVERYTHING,
            {
                "Figures": f"4, from 1{SPACE}000 on 5",
                "Figures of a limit": "at most 2",
                "No finer than the limit": "no",
                "Finest place": "%: two decimals, mg/kg: one decimal",
                "An exact half": "away from zero",
                "A number must reach": "the quantification limit",
                "Below the detection limit": "“<” and the detection limit",
                "Between the two limits": "trace",
                "Above the range": "much",
                "Other units": f"mg/kg to % from 10{SPACE}000 on",
                "Oxide or element": "Al as Al2O3, P as P2O5",
                "Basis": "dry basis",
                "Uncertainty": "two figures, upwards; the value to its last figure",
                "Qualifiers": "J, U",
                "Statement of conformity": "guard band for a chosen risk, 2.5 %",
            },
        ),
    ],
    ids=["plain", "everything"],
)
def test_every_setting_on_the_page_of_a_rule_set(rule: RuleSet, rows: dict[str, str]) -> None:
    assert dict(in_full(rule)) == rows


@pytest.mark.parametrize(
    ("chosen", "setting", "said"),
    [
        ({"words_not_detected": "n.d."}, "Below the detection limit", "n.d."),
        ({"below": Below.REPORTING_LIMIT}, "Between the two limits", "below the reporting limit as “<”"),
        ({"uncertainty_shown": False}, "Uncertainty", "only beside statements of conformity"),
    ],
)
def test_one_setting(chosen: dict[str, object], setting: str, said: str) -> None:
    assert dict(in_full(RuleSet("one", 1, **chosen)))[setting] == said  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("code", "said"),
    [
        (Code("R", "reported"), "any result"),
        (Code("U", "not found", "<", (Mark.BELOW_DETECTION,)), "“<”: below detection limit"),
        (Code("J", "estimate", "number", (Mark.CARRY_OVER, Mark.OVER_RANGE)),
         f"a number: {Mark.CARRY_OVER.value} or {Mark.OVER_RANGE.value}"),
        (Code("E", "above", ">"), "“>”"),
    ],
)  # fmt: skip
def test_when_a_code_is_given(code: Code, said: str) -> None:
    assert code_words(code) == said


def test_a_decision_rule_with_its_risk() -> None:
    assert decision_words(DecisionRule.SIMPLE, None) == DecisionRule.SIMPLE.value
    assert decision_words(DecisionRule.PROBABILITY, 0.5) == f"{DecisionRule.PROBABILITY.value}, 0.5 %"


@pytest.mark.parametrize(
    ("rule", "k", "words"),
    [
        (Rule(DecisionRule.GUARDED), 2.0, "w = U (k = 2, about 95 %)"),
        (Rule(DecisionRule.GUARDED), 3.0, "w = U (k = 3)"),
        (Rule(DecisionRule.GUARDED), 1.645, "at most 5 %"),  # 1 − Φ(1.645), JCGM 106:2012, table 1
        (Rule(DecisionRule.FOUR_STATEMENTS), 2.0, "U (k = 2, about 95 %) says"),
        (Rule(DecisionRule.BY_RISK, 5.0), 2.0, "guard band w = 1.64 u to the limit, with u = U / 2"),
        (Rule(DecisionRule.PROBABILITY), 2.0, "from 50 % on (guard band w = 0 u)"),
        (Rule(DecisionRule.PROBABILITY, 2.5), 2.0, "from 97.5 % on (guard band w = 1.96 u)"),
    ],
)
def test_a_decision_rule_says_its_factor_and_its_guard_band(rule: Rule, k: float, words: str) -> None:
    assert words in rule_text(rule, k)
