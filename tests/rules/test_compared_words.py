"""Beside a statement: one more figure or a footnote where the print alone would say otherwise; probability; basis."""

from decimal import Decimal

import pytest

from labresults.terms import Basis, DecisionRule, Mark
from reports.rules.basis import column_basis, off_column_remark
from reports.rules.censoring import Limits
from reports.rules.compared import print_compared
from reports.rules.conformity import Limit, Rule, Statement
from reports.rules.printing import Measured
from reports.rules.ruleset import RuleSet, Switch

RULE = RuleSet("three figures", 1)
IN_PERCENT = RuleSet("percent", 1, switches=(Switch("mg/kg", Decimal(10000), "%", Decimal(10000)),))
LIMITS = Limits(0.2, 0.6, 500_000.0)
FOUR, EVEN = Rule(DecisionRule.FOUR_STATEMENTS), Rule(DecisionRule.PROBABILITY)
FOOTNOTE = "Compared before rounding. By the printed figures alone it would read “{}”."


@pytest.mark.parametrize(
    ("rule_set", "value", "u", "limit", "rule", "printed", "statement", "footnote"),
    [
        # 240 is as far below 250 as the printed U of 10 says, and U is 10.04; one more figure, 240.0, does not help
        (RULE, 240.0, 10.04, 250.0, FOUR, "240", Statement.CONFORMS_WITHIN_U, Statement.CONFORMS),
        (RULE, 240.0, 9.96, 250.0, FOUR, "240", Statement.CONFORMS, None),
        # 54 270 ± 2171 is 2180 below 56 450; printed, 5.43 ± 0.22 %, it is 2150 below, with a U of 2200
        (IN_PERCENT, 54270.0, 2171.0, 56450.0, FOUR, "5.43\N{NO-BREAK SPACE}%", Statement.CONFORMS,
         Statement.CONFORMS_WITHIN_U),
        (IN_PERCENT, 54270.0, 2171.0, 60000.0, FOUR, "5.43\N{NO-BREAK SPACE}%", Statement.CONFORMS, None),
        # over its range a result is printed in its own unit: more than 500 000, which 1 000 000 may or may not hold
        (IN_PERCENT, 600_000.0, 1.0, 1_000_000.0, FOUR, ">500\N{NO-BREAK SPACE}000", Statement.CANNOT_BE_DECIDED, None),
    ],
)  # fmt: skip
def test_the_printed_figures_are_compared_too(
    rule_set: RuleSet, value: float, u: float, limit: float, rule: Rule, printed: str, statement: Statement,
    footnote: Statement | None,
) -> None:  # fmt: skip
    found = print_compared(
        Measured(value, "mg/kg", LIMITS, u), Basis.AS_RECEIVED, Limit(limit, "mg/kg"), rule, rule_set
    )
    assert (found.printed.printed, found.statement) == (printed, statement)
    assert found.footnote == (FOOTNOTE.format(footnote.value) if footnote else "")


def test_one_more_figure_says_why_and_keeps_its_probability() -> None:
    """250.4 ± 10 above 250 meets it with Φ(−0.4 / 5) = 46.8 %; printed as 250 it would conform."""
    found = print_compared(Measured(250.4, "mg/kg", LIMITS, 10.0), Basis.AS_RECEIVED, Limit(250.0, "mg/kg"), EVEN, RULE)
    assert (found.printed.printed, found.footnote) == ("250.4", "")
    assert found.printed.text_rule == "one more figure, so that it agrees with the statement"
    assert found.words == "does not conform, probability 46.8\N{NO-BREAK SPACE}%"


@pytest.mark.parametrize(
    ("z", "rule", "probability"),
    [  # Φ(z), z = (limit − value) / u: JCGM 106:2012, 7
        (1.955, Rule(DecisionRule.PROBABILITY, 5.0), "97.5\N{NO-BREAK SPACE}%"),  # 97.471: it conforms, to the nearest
        (1.5, Rule(DecisionRule.PROBABILITY, 5.0), "93.3\N{NO-BREAK SPACE}%"),  # 93.319
        (-2.41, EVEN, "0.7\N{NO-BREAK SPACE}%"),  # 0.798: it does not conform, downwards
        (-5.0, EVEN, "less than 0.1\N{NO-BREAK SPACE}%"),
        (5.0, EVEN, "more than 99.9\N{NO-BREAK SPACE}%"),
        (1.955, Rule(DecisionRule.SIMPLE), ""),  # no other rule gives one
        (1.955, FOUR, ""),
    ],
)
def test_the_probability_that_is_printed(z: float, rule: Rule, probability: str) -> None:
    measured = Measured(100.0 - z, "mg/kg", LIMITS, 2.0)  # u = 1
    assert print_compared(measured, Basis.AS_RECEIVED, Limit(100.0, "mg/kg"), rule, RULE).probability == probability


def test_over_a_range_whose_end_is_not_known_nothing_can_be_decided() -> None:
    over = Measured(12.0, "mg/kg", Limits(0.2, 0.6), 1.0, marks=(Mark.OVER_RANGE,))
    found = print_compared(over, Basis.AS_RECEIVED, Limit(10.0, "mg/kg"), FOUR, RULE)
    assert (found.printed.printed, found.statement) == ("over range", Statement.CANNOT_BE_DECIDED)


# ---------------------------------------------------------------- the basis of a column

DRY, WET = Basis.DRY, Basis.AS_RECEIVED


@pytest.mark.parametrize(
    ("bases", "asked", "column"),
    [([WET, DRY], DRY, DRY), ([WET, WET], DRY, WET), ([DRY], WET, DRY), ([], DRY, DRY), ([DRY, WET], WET, WET)],
)
def test_a_column_is_on_what_is_asked_for_where_a_result_is(bases: list[Basis], asked: Basis, column: Basis) -> None:
    assert column_basis(bases, asked) is column


@pytest.mark.parametrize(
    ("basis", "column", "remark"),
    [
        (DRY, DRY, ""),
        (WET, WET, ""),
        (DRY, WET, "On dry basis, unlike its column."),
        (WET, DRY, "On the sample as received, unlike its column."),
    ],
)
def test_what_is_on_another_basis_than_its_column_says_so(basis: Basis, column: Basis, remark: str) -> None:
    assert off_column_remark(basis, column) == remark
