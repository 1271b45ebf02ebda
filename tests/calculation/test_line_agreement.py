"""Several lines of one element beside each other: a disagreement is shown, and settles nothing."""

from dataclasses import replace

import pytest

from labresults.calculation.evaluation import evaluate
from labresults.terms import Mark
from tests.calculation.builders import CU, method, run_of, sample, standards

OTHER = replace(CU, key="Cu 327.396", rank=2)
THIRD = replace(CU, key="Cu 224.700", rank=3)


@pytest.mark.parametrize(
    ("factor", "u_relative", "holds", "disagree"),
    [
        (1.11, 0.03, 5.0, True),
        (1.09, 0.03, 5.0, False),
        (1.11, 0.06, 5.0, False),
        (1.50, 0.03, 0.025, False),
    ],
    ids=["apart", "within the method's limit", "within their uncertainty", "below the quantification limit"],
)
def test_two_lines_disagree_beyond_the_limit_and_beyond_their_uncertainty(
    factor: float, u_relative: float, holds: float, disagree: bool
) -> None:
    # given a second line that reads `factor` times the first, and a limit of 10 %
    lines = [replace(line, u_relative=u_relative) for line in (CU, OTHER)]
    run = run_of(*standards(Cu=10.0), sample("A", Cu=holds), lines=lines)
    run.signal[4, 1] = 50.0 + 1000.0 * holds * factor
    # when
    found = evaluate(run, method(lines=lines, lines_agree_percent=10.0, rules=2))
    # then
    marks = {each.line: Mark.LINES_DISAGREE in each.marks for each in found.results}
    assert marks == {CU.key: disagree, OTHER.key: disagree}
    assert len(found.disagreements) == disagree


def test_a_disagreement_is_shown_with_its_numbers_and_changes_no_value() -> None:
    run = run_of(*standards(Cu=10.0), sample("A", Cu=5.0), lines=(CU, OTHER))
    run.signal[4, 1] = 50.0 + 1000.0 * 6.0
    shown = evaluate(run, method(lines=(CU, OTHER), lines_agree_percent=10.0, rules=2))
    silent = evaluate(run, method(lines=(CU, OTHER), rules=2))
    (found,) = shown.disagreements
    assert (found.chosen, found.other, found.element) == (CU.key, OTHER.key, "Cu")
    assert (found.value, found.other_value) == (pytest.approx(500.0), pytest.approx(600.0))
    assert found.difference_percent == pytest.approx(100.0 * 100.0 / 550.0)
    assert [each.value for each in shown.results] == [each.value for each in silent.results]
    assert silent.disagreements == ()


def test_lines_are_compared_with_the_first_that_has_a_value() -> None:
    # given a first line over range: the second leads, and the third differs from it
    lines = (CU, OTHER, THIRD)
    run = run_of(*standards(Cu=10.0), sample("A", Cu=5.0), lines=lines)
    run.saturated[4, 0] = True
    run.signal[4, 2] *= 1.5
    (found,) = evaluate(run, method(lines=lines, lines_agree_percent=10.0, rules=2)).disagreements
    assert (found.chosen, found.other) == (OTHER.key, THIRD.key)
