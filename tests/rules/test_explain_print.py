"""The steps from an unrounded result to what is printed of it: name, the rule in words, and what it gives."""

from dataclasses import replace
from decimal import Decimal

import pytest

from labresults.terms import Mark
from reports.rules.censoring import Below, Limits
from reports.rules.explain_print import explain_print
from reports.rules.printing import Measured
from reports.rules.ruleset import RuleSet, Switch

RULE = RuleSet("three figures", 1)
IN_PERCENT = replace(RULE, switches=(Switch("mg/kg", Decimal(10000), "%", Decimal(10000)),))
LIMITS = Limits(0.2, 0.6, 500.0)
WIDE = Limits(100.0, 300.0)
SPACE = "\N{NO-BREAK SPACE}"


def measured(value: float | None, limits: Limits = LIMITS, **more: object) -> Measured:
    return Measured(value, "mg/kg", limits, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("result", "rule", "steps"),
    [
        (
            measured(12.34, expanded_u=0.5), RULE,
            [
                ("value", "as it is carried, not rounded", "12.34 mg/kg"),
                ("limit", "at or above the detection limit, 0.2 mg/kg: a number", ""),
                ("figures", "three figures, half to even", "12.3"),
                ("uncertainty", "U = 0.5 mg/kg (k = 2), two figures", "0.50"),
                ("printed", "three figures", "12.3"),
            ],
        ),
        (
            measured(0.34), RULE,
            [
                ("value", "as it is carried, not rounded", "0.34 mg/kg"),
                (
                    "limit",
                    "at or above the detection limit, 0.2 mg/kg: a number; between detection and quantification limit",
                    "",
                ),
                ("figures", "three figures, half to even", "0.340"),
                ("place", "one decimal: no finer than the detection limit", "0.3"),
                ("printed", "one decimal: no finer than the detection limit", "0.3"),
            ],
        ),
        (
            measured(0.1, expanded_u=0.05), RULE,
            [
                ("value", "as it is carried, not rounded", "0.1 mg/kg"),
                ("limit", "below 0.2 mg/kg: below detection limit", "<"),
                ("printed", "below the detection limit", "<0.2"),
            ],
        ),
        (  # nothing is marked of what is above both limits of the method, and below the one of the report
            measured(0.7, replace(LIMITS, reporting=1.0)), replace(RULE, below=Below.REPORTING_LIMIT),
            [
                ("value", "as it is carried, not rounded", "0.7 mg/kg"),
                ("limit", "below 1.0 mg/kg: reporting limit", "<"),
                ("printed", "below the reporting limit", "<1"),
            ],
        ),
        (
            measured(501.0), RULE,
            [
                ("value", "as it is carried, not rounded", "501.0 mg/kg"),
                ("limit", "above 500.0 mg/kg: over range", ">"),
                ("printed", "above the range", ">500"),
            ],
        ),
        (
            measured(None, marks=(Mark.OVER_RANGE,), why_no_value="saturated"), RULE,
            [
                ("value", "there is none", "saturated"),
                ("limit", "above 500.0 mg/kg: over range", ">"),
                ("printed", "above the range", ">500"),
            ],
        ),
        (
            measured(None), RULE,
            [
                ("value", "there is none", ""),
                ("limit", "no limit decides: words are printed", ""),
                ("printed", "in words", "no value"),
            ],
        ),
        (  # a gain in mass, without any limit
            measured(-0.318, Limits(0.0, 0.0)), RULE,
            [
                ("value", "as it is carried, not rounded", "-0.318 mg/kg"),
                ("limit", "the method has no detection limit: a number", ""),
                ("figures", "three figures, half to even", "-0.318"),
                ("printed", "three figures", "-0.318"),
            ],
        ),
        (
            measured(0.0, Limits(0.0, 0.0)), RULE,
            [
                ("value", "as it is carried, not rounded", "0.0 mg/kg"),
                ("limit", "the method has no detection limit: a number", ""),
                ("figures", "three figures, half to even", "0"),
                ("printed", "three figures", "0"),
            ],
        ),
        (  # 54 270 mg/kg are 5.427 %, and U goes with it
            measured(54270.0, WIDE, expanded_u=2171.0, coverage_factor=2.5), IN_PERCENT,
            [
                ("value", "as it is carried, not rounded", "54270.0 mg/kg"),
                ("limit", "at or above the detection limit, 100.0 mg/kg: a number", ""),
                ("unit", f"from 10{SPACE}000 mg/kg on: divided by 10{SPACE}000", "5.427 %"),
                ("figures", "three figures, half to even", "5.43"),
                ("uncertainty", "U = 2171.0 mg/kg (k = 2.5), two figures", "0.22"),
                ("printed", "three figures", f"5.43{SPACE}%"),
            ],
        ),
    ],
    ids=[
        "a number", "to the limit's place", "not found", "below the reporting limit", "over range", "saturated", "none",
        "a gain", "nothing", "in another unit",
    ],
)  # fmt: skip
def test_each_step_says_its_rule_and_what_it_gives(
    result: Measured, rule: RuleSet, steps: list[tuple[str, str, str]]
) -> None:
    assert [(step.name, step.words, step.gives) for step in explain_print(result, rule)] == steps
