"""From a derived result to its printed string: every way ends in exactly what is printed."""

from dataclasses import replace

import pytest

from labresults.calculation.derived import Derived
from labresults.terms import Basis, Mark
from reports.derived import print_found
from reports.queries.derived_printing import printing_steps
from reports.rules.censoring import Below
from reports.rules.ruleset import RuleSet

RULES = RuleSet("Rules", 1)


def known(**said: object) -> Derived:
    return Derived("mg/L", Basis.AS_RECEIVED, **said)  # type: ignore[arg-type]


NUMBER = known(value=166.03, detection_limit=0.3, quantification_limit=0.9)


@pytest.mark.parametrize(
    ("derived", "steps"),
    [
        (NUMBER, [("value", "166.03 mg/L"), ("limit", ""), ("figures", "166"), ("printed", "166")]),
        (known(value=0.2, detection_limit=0.3), [("value", "0.2 mg/L"), ("limit", "<"), ("printed", "<0.3")]),
        (known(sign="<", bound=2.05, marks=(Mark.OVER_RANGE,)), [("bound", "<2.05 mg/L"), ("printed", "<2.1")]),
        (known(sign=">", bound=2.098, marks=(Mark.OVER_RANGE,)), [("bound", ">2.098 mg/L"), ("printed", ">2.09")]),
        (known(low=10.02, high=14.1), [("least", "10.02 mg/L"), ("most", "14.1 mg/L"), ("printed", "10.0 to 14.1")]),
        (known(why="Mg: to follow"), [("value", ""), ("printed", "no value")]),
    ],
)
def test_each_step_says_what_it_gives(derived: Derived, steps: list[tuple[str, str]]) -> None:
    printed = print_found(derived, RULES)[0].printed
    found = printing_steps(derived, RULES, printed)
    assert [(step.name, step.gives) for step in found] == steps
    assert all(step.words for step in found)


def test_a_value_that_may_be_more_says_up_to_what() -> None:
    """Below 0.9 rules print <, and a term that was not found leaves 0.92 open."""
    by_quantification = replace(RULES, below=Below.QUANTIFICATION_LIMIT)
    open_above = known(value=0.8, detection_limit=0.3, quantification_limit=0.9, at_most=0.92)
    *_, most, printed = printing_steps(open_above, by_quantification, "<0.92")
    assert (most.name, most.gives, printed.gives) == ("at most", "0.92 mg/L", "<0.92")


def test_what_a_statement_or_the_certificate_made_of_it_is_said_beside_what_the_rules_alone_give() -> None:
    finer = printing_steps(NUMBER, RULES, "166.0")[-1]
    assert finer.words == "one more figure, so that it agrees with its statement; by the rules alone it would be 166"
    other = printing_steps(NUMBER, RULES, "167")[-1]
    assert (other.gives, other.words) == ("167", "the certificate says it so; by the rules alone it would be 166")
