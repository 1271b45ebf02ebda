"""Rule sets: figures by size, words instead of limits, oxide or element, qualifiers as data, and the steps in words."""

import json
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.calculation.stoichiometry import compound_factor
from labresults.terms import Basis, DecisionRule, Mark
from reports.rules.censoring import Below, Limits
from reports.rules.conformity import Rule
from reports.rules.decision_words import rule_text
from reports.rules.explain_print import explain_print
from reports.rules.forms import NoForm, form_factor
from reports.rules.printing import Measured, print_measured
from reports.rules.qualifiers import EPA_CODES, assign_letters, marks_beside, remarks_for
from reports.rules.rule_words import describe, in_full
from reports.rules.ruleset import BadRuleSet, Code, RuleSet, Size, Switch, in_words

# EPA Method 200.7, section 12 (from memory): below 10 two figures, from 10 on three.
BY_SIZE = RuleSet("200.7", 1, figures=2, limit_figures=1, figures_by_size=(Size(Decimal(10), 3),))


@pytest.mark.parametrize(
    ("value", "printed"),
    [(0.0672, "0.067"), (9.84, "9.8"), (9.96, "10"), (10.0, "10.0"), (10.04, "10.0"), (412.37, "412"), (500.0, ">498")],
)
def test_figures_by_size(value: float, printed: str) -> None:
    assert print_measured(Measured(value, "mg/L", Limits(0.001, 0.003, 498.7)), BY_SIZE).printed == printed


@given(a=st.floats(0.01, 1e4), b=st.floats(0.01, 1e4), detection=st.floats(1e-4, 1e-2))
def test_order_is_kept_across_a_size(a: float, b: float, detection: float) -> None:
    low, high = sorted((a, b))
    numbers = [print_measured(Measured(v, "mg/L", Limits(detection, 3 * detection)), BY_SIZE) for v in (low, high)]
    first, second = (Decimal(one.number or one.limit or "0") for one in numbers)
    assert first <= second


@pytest.mark.parametrize(
    ("chosen", "says"),
    [
        ({"figures": 2, "limit_figures": 1, "figures_by_size": (Size(Decimal("10.25"), 3),)}, "rounder size"),
        ({"figures": 2, "limit_figures": 1, "figures_by_size": (Size(Decimal("10.2"), 3),)}, "rounder size"),
        ({"figures_by_size": (Size(Decimal(0), 4),)}, "Sizes go up"),
        ({"figures_by_size": (Size(Decimal(10), 4), Size(Decimal(10), 5))}, "Sizes go up"),
        ({"switches": (Switch("mg/kg", Decimal(0), "%", Decimal(10000)),)}, "numbers above zero"),
        ({"switches": (Switch("mg/kg", Decimal(10000), "%", Decimal(0)),)}, "numbers above zero"),
        ({"decision_rule": DecisionRule.BY_RISK, "risk_percent": 0.0}, "A risk of 0 % cannot be chosen"),
        ({"decision_rule": DecisionRule.BY_RISK, "risk_percent": 50.5}, "A risk of 50.5 % cannot be chosen"),
        ({"version": 0}, "a version from 1 on"),
        ({"figures_by_size": (Size(Decimal(10), 4), Size(Decimal(5), 3))}, "Sizes go up"),
        ({"figures_by_size": (Size(Decimal(10), 1),)}, "2 figures beside results of 1"),
        ({"forms": (("Al", "SiO2"),)}, "holds no Al"),
        ({"forms": (("Al", "Al2O3"), ("Al", "Al"))}, "two forms"),
        ({"forms": (("Al", "Al2SiO5"), ("Si", "Al2SiO5"))}, "Al and Si are both printed as Al2SiO5"),
        ({"codes": (Code("j", "estimate"),)}, "capital letters"),
        ({"codes": (Code(" ", "estimate"),)}, "capital letters"),
        ({"codes": (Code("J", " "),)}, "and a meaning"),
        ({"codes": (Code("J", "estimate", of="numbers"),)}, "“numbers” is no kind of result"),
        ({"codes": (Code("J", "estimate"), Code("J", "other"))}, "two meanings"),
        ({"decision_rule": DecisionRule.BY_RISK}, "needs the risk"),
        ({"risk_percent": 5.0}, "no chosen risk"),
        ({"decision_rule": DecisionRule.PROBABILITY, "risk_percent": 60.0}, "up to 50"),
    ],
)
def test_what_cannot_be_applied_is_refused(chosen: dict[str, object], says: str) -> None:
    with pytest.raises(BadRuleSet, match=says):
        RuleSet(**({"name": "bad", "version": 1} | chosen))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "chosen",
    [
        {"figures_by_size": (Size(Decimal("0.5"), 4),)},
        {"basis": Basis.DRY},
        {"codes": (Code("J", "estimate", of="number"), Code("U", "not found", of="<"), Code("R", "reported"))},
        {"switches": (Switch("mg/kg", Decimal("0.5"), "ng/g", Decimal("0.001")),)},
        *[{"decision_rule": DecisionRule.BY_RISK, "risk_percent": risk} for risk in (0.5, 5.0, 50.0)],
    ],
)
def test_what_is_just_within_its_bounds_is_applied(chosen: dict[str, object]) -> None:
    rule = RuleSet("good", 1, **chosen)  # type: ignore[arg-type]
    assert RuleSet.from_json(rule.to_json()) == rule


def test_of_several_sizes_the_largest_that_is_reached_counts() -> None:
    rule = replace(BY_SIZE, figures_by_size=(Size(Decimal(10), 3), Size(Decimal(1000), 4)))
    printed = [print_measured(Measured(value, "mg/L", Limits(0.0, 0.0)), rule).printed for value in (123.46, 1234.6)]
    assert printed == ["123", "1\N{NO-BREAK SPACE}235"]


def test_a_switch_is_for_its_own_unit_and_for_a_number() -> None:
    rule = RuleSet("percent", 1, switches=(Switch("mg/kg", Decimal(10000), "%", Decimal(10000)),))
    assert rule.switch_for(54270.0, "mg/kg") == rule.switches[0]
    assert rule.switch_for(54270.0, "mg/L") is None
    assert rule.switch_for(None, "mg/kg") is None


def test_the_text_of_a_rule_set_is_the_same_each_time_and_leaves_the_first_edition_out() -> None:
    written = RuleSet("µ", 1, words_between="trace", edition=1).to_json()
    assert list(json.loads(written)) == sorted(json.loads(written))
    assert "edition" not in json.loads(written)
    assert json.loads(RuleSet("µ", 1, edition=2).to_json())["edition"] == 2
    assert '"name": "µ"' in written


@pytest.mark.parametrize(
    ("count", "words"),
    [(0, "no figures"), (1, "one figure"), (5, "five figures"), (6, "six figures"), (7, "7 figures")],
)
def test_small_numbers_in_words(count: int, words: str) -> None:
    assert in_words(count, "figure") == words


def test_every_setting_comes_back_from_text_and_older_text_still_reads() -> None:
    rule = RuleSet(
        "all", 2, figures_by_size=(Size(Decimal(10), 4),), words_not_detected="n.d.", forms=(("Al", "Al2O3"),),
        codes=EPA_CODES, decision_rule=DecisionRule.PROBABILITY, risk_percent=5.0, uncertainty_shown=False,
    )  # fmt: skip
    assert RuleSet.from_json(rule.to_json()) == rule
    assert RuleSet.from_json('{"name": "R2", "version": 1, "figures": 3}') == RuleSet("R2", 1, edition=1)
    # what was saved before it was refused can still be read
    shared = '{"name": "R2", "version": 1, "forms": [["Al", "Al2SiO5"], ["Si", "Al2SiO5"]]}'
    assert RuleSet.from_json(shared).form_of("Si") == "Al2SiO5"
    assert dict(in_full(rule))["Oxide or element"] == "Al as Al2O3"


LIMITS = Limits(0.2, 0.6, 500.0)


@pytest.mark.parametrize(
    ("chosen", "value", "printed", "limit"),
    [
        ({"words_not_detected": "n.d."}, 0.1, "n.d.", "0.2"),
        ({"words_between": "trace"}, 0.3, "trace", "0.6"),
        ({"words_above": "over range"}, 501.0, "over range", "500"),
        ({"below": Below.QUANTIFICATION_LIMIT}, 0.1, "<0.6", "0.6"),
        ({"below": Below.QUANTIFICATION_LIMIT, "not_found_by_detection_limit": True}, 0.1, "<0.2", "0.2"),
        ({"below": Below.QUANTIFICATION_LIMIT, "not_found_by_detection_limit": True}, 0.3, "<0.6", "0.6"),
    ],
)
def test_below_and_above(chosen: dict[str, object], value: float, printed: str, limit: str) -> None:
    rules = RuleSet("words", 1, **chosen)  # type: ignore[arg-type]
    found = print_measured(Measured(value, "mg/kg", LIMITS), rules)
    assert (found.printed, found.limit, found.number) == (printed, limit, None)
    for words in (rules.words_not_detected, rules.words_between, rules.words_above):
        assert words in describe(rules)


def test_words_for_not_detected_keep_the_detection_limit_for_programs() -> None:
    rules = RuleSet("words", 1, below=Below.REPORTING_LIMIT, words_not_detected="n.d.")
    found = print_measured(Measured(0.1, "mg/kg", replace(LIMITS, reporting=1.0)), rules)
    assert (found.printed, found.limit) == ("n.d.", "0.2")


def test_oxide_or_element_by_the_exact_factor() -> None:
    assert form_factor("Al", "Al", "Al2O3", "%") == pytest.approx(1.8894, abs=5e-5)  # CIAAW 2024, recomputed
    assert form_factor("P", "P2O5", "P", "%") == pytest.approx(1 / compound_factor("P2O5", "P"))
    assert form_factor("Cu", "Cu", "Cu", "mg/kg") == 1.0
    for unit in ("cmol/kg", "meq/L"):
        with pytest.raises(NoForm, match="counts moles"):
            form_factor("Ca", "Ca", "CaO", unit)


@pytest.mark.parametrize(
    ("value", "marks", "code"),
    [
        (0.1, (), "U"),
        (0.1, (Mark.CONTROL_FAILED,), "UJ, a"),
        (0.3, (), "J"),
        (4.0, (Mark.CONTROL_FAILED,), "J, a"),
        (4.0, (Mark.CARRY_OVER,), "J+"),
        (4.0, (), ""),
    ],
)
def test_codes_instead_of_letters(value: float, marks: tuple[Mark, ...], code: str) -> None:
    printed = print_measured(Measured(value, "mg/kg", LIMITS, marks=marks), RuleSet("codes", 1, codes=EPA_CODES))
    failed = ("Matrix spike: 60 %. Accepted by R. Roe: explained.",) if Mark.CONTROL_FAILED in marks else ()
    remarks = remarks_for(printed, control_remarks=failed, codes=EPA_CODES)
    assert marks_beside(remarks, assign_letters(remarks, EPA_CODES)) == code


@given(value=st.floats(-1, 1e5), detection=st.floats(1e-3, 10), u=st.floats(1e-3, 10), figures=st.integers(2, 5))
def test_the_last_step_is_what_is_printed(value: float, detection: float, u: float, figures: int) -> None:
    measured = Measured(value, "mg/kg", Limits(detection, 3 * detection, 5e4), u)
    rules = RuleSet("any", 1, figures=figures)
    steps = explain_print(measured, rules)
    assert steps[-1].gives == print_measured(measured, rules).printed
    assert repr(value) in steps[0].gives


def test_a_rule_says_its_risk_and_guard_band() -> None:
    assert "w = 1.64 u" in rule_text(Rule(DecisionRule.BY_RISK, 5.0), 2.0)
    assert "at most 2.5 %" in rule_text(Rule(DecisionRule.GUARDED), 2.0)
    assert "at most 0.13 %" in rule_text(Rule(DecisionRule.GUARDED), 3.0)  # 1 - Φ(3), JCGM 106:2012, table 1 beyond
    assert "from 95 % on" in rule_text(Rule(DecisionRule.PROBABILITY, 5.0), 2.0)
    assert "safe" not in " ".join(rule_text(Rule(kind, 5.0), 2.0) for kind in DecisionRule)
