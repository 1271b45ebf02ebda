"""Control samples as the appendix prints them: what was expected, what was found."""

import pytest

from labresults.terms import Measure
from reports.appendix import control_row
from reports.facts import ControlFact
from reports.rules.ruleset import RuleSet


@pytest.mark.parametrize(
    ("expected", "observed", "printed", "before"),
    [
        (312.0, 308.1234, ("312", "308.1"), ("312.0", "308.1")),
        (300.0, 299.96, ("300", "300.0"), ("300.0", "300.0")),
        (24.5, 24.5, ("24.5", "24.5"), ("24.50", "24.50")),
        (0.0004, 0.000381, ("0.0004", "0.00038"), ("0.000", "0.000")),
        (0.0123456, 0.0119876, ("0.012", "0.012"), ("0.012", "0.012")),
        (12345.6, 12400.0, ("12\u00a0350", "12\u00a0400"), ("12\u00a0350", "12\u00a0400")),
        (None, 0.00012, ("", "0.000"), ("", "0.000")),
    ],
    ids=str,
)
def test_a_certified_value_has_the_figures_that_it_was_given_with(
    expected: float | None, observed: float, printed: tuple[str, str], before: tuple[str, str]
) -> None:
    control = ControlFact(
        "R26-0001", "certified reference material", "RM GC-17", "As", "mg/kg", expected, observed, "recovery", 90.0,
        110.0, "within", "",
    )  # fmt: skip
    rows = [control_row(control, RuleSet("R2", 1, edition=edition)) for edition in (2, 1)]
    assert [(row.expected, row.found) for row in rows] == [printed, before]


def test_a_blank_is_expected_to_give_nothing_and_shows_no_finer_figures_for_a_fine_limit() -> None:
    blank = ControlFact(
        "R26-0001", "method blank", "", "As", "mg/kg", 0.0004, 0.00012, Measure.TIMES_QUANTIFICATION_LIMIT, None, 1.0,
        "within", "",
    )  # fmt: skip
    row = control_row(blank, RuleSet("R2", 1))
    assert (row.expected, row.found) == ("", "0.000")
