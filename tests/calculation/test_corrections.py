"""Inter-element correction and the subtraction of the method blank."""

from dataclasses import replace

import numpy as np
import pytest

from labresults.calculation.evaluation import evaluate
from labresults.calculation.interference import correct, corrections
from labresults.calculation.run import Interference
from labresults.terms import BlankRule, Mark, Role
from tests.calculation.builders import CU, FE, method, result_at, run_of, sample, solid, standards

ARSENIC = replace(CU, key="As 193.696", element="As", interferences=(Interference("Al", 0.013),))
ALUMINIUM = replace(FE, key="Al 308.215", element="Al")
LINES = (ARSENIC, ALUMINIUM)


def test_aluminium_pretends_arsenic() -> None:
    """EPA Method 6010D, section 4.2 (from memory): 100 mg/L of Al reads as 1.3 mg/L of As at 193.696 nm, so that
    10 mg/L reads as 0.13 mg/L."""
    found = correct(np.array([[0.13, 10.0], [0.63, 10.0]]), corrections(LINES).matrix)
    assert found == pytest.approx(np.array([[0.0, 10.0], [0.5, 10.0]]), abs=1e-15)


def test_elements_that_interfere_with_each_other_are_solved_together() -> None:
    # given true contents of 2 and 3, of which each line reads a tenth and a fifth of the other's
    one = replace(CU, interferences=(Interference("Fe", 0.1),))
    other = replace(FE, interferences=(Interference("Cu", 0.2),))
    apparent = np.array([[2.0 + 0.1 * 3.0, 3.0 + 0.2 * 2.0]])
    assert correct(apparent, corrections([one, other]).matrix) == pytest.approx(np.array([[2.0, 3.0]]))


def test_the_interferent_is_taken_from_its_first_line() -> None:
    second = replace(ALUMINIUM, key="Al 396.152", rank=2)
    found = corrections([ARSENIC, second, ALUMINIUM])
    assert found.of(0) == [2]


def interfered(al: float) -> tuple[float | None, str | None, tuple[Mark, ...]]:
    """Return the arsenic of a sample that holds 0.5 mg/L of it beside aluminium."""
    places = [*standards(As=10.0, Al=100.0), sample("A", As=0.5 + 0.013 * al, Al=al)]
    found = result_at(evaluate(run_of(*places, lines=LINES), method(lines=LINES)), 5, ARSENIC.key)
    return found.value, found.why_no_value, found.marks


def test_a_result_is_corrected_in_the_run() -> None:
    value, _, marks = interfered(al=10.0)
    assert (value, marks) == (pytest.approx(50.0), ())


def test_an_interferent_over_its_range_makes_the_correction_invalid() -> None:
    value, why, marks = interfered(al=150.0)
    assert (value, marks) == (None, (Mark.NO_VALUE,))
    assert "Al 308.215 interferes at As 193.696 and is over range" in str(why)


def test_lines_of_interfering_elements_are_compulsory() -> None:
    run = run_of(*standards(As=10.0), sample("A", As=0.5), lines=(ARSENIC,))
    found = result_at(evaluate(run, method(lines=LINES)), 5, ARSENIC.key)
    assert found.value is None
    assert "Al interferes at As 193.696 and was not measured" in str(found.why_no_value)


def test_an_interferent_that_was_not_read_gives_no_value_at_its_position_alone() -> None:
    places = [*standards(As=10.0, Al=100.0), sample("A", As=0.5), sample("B", As=0.5)]
    run = run_of(*places, lines=LINES)
    run.signal[4, 1] = np.nan
    evaluation = evaluate(run, method(lines=LINES))
    assert "no correction" in str(result_at(evaluation, 5, ARSENIC.key).why_no_value)
    assert result_at(evaluation, 6, ARSENIC.key).value == pytest.approx(50.0)


BLANKS = [
    sample("MB 1", role=Role.METHOD_BLANK, Cu=0.02),
    sample("MB 2", role=Role.METHOD_BLANK, Cu=0.04),
    sample("MB 3", solid("MB 3", batch="B2"), role=Role.METHOD_BLANK, Cu=1.0),
]


@pytest.mark.parametrize(
    ("rule", "expected"), [(BlankRule.JUDGE, 100.0), (BlankRule.SUBTRACT, 97.0)], ids=["judged", "subtracted"]
)
def test_the_method_says_whether_the_blank_is_subtracted(rule: BlankRule, expected: float) -> None:
    # given two blanks of the sample's batch, of 0.03 mg/L in the mean, and one of another batch
    run = run_of(*standards(Cu=10.0), *BLANKS, sample("A", Cu=1.0))
    evaluation = evaluate(run, method(blank_rule=rule))
    assert result_at(evaluation, 8).value == pytest.approx(expected)
    assert result_at(evaluation, 5).value == pytest.approx(2.0)  # a blank is not subtracted from itself


@pytest.mark.parametrize(
    ("dilution", "volume_mL", "blank"), [(10.0, 50.0, 0.003), (1.0, 100.0, 0.015)], ids=["diluted", "twice the volume"]
)
def test_the_blank_is_scaled_to_the_solution(dilution: float, volume_mL: float, blank: float) -> None:
    portion = solid("A", dilution=dilution, volume_mL=volume_mL)
    run = run_of(*standards(Cu=10.0), *BLANKS, sample("A", portion, Cu=1.0))
    found = result_at(evaluate(run, method(blank_rule=BlankRule.SUBTRACT)), 8)
    assert found.solution == pytest.approx(1.0 - blank)


def test_a_batch_without_its_blank_has_no_value_where_it_is_subtracted() -> None:
    run = run_of(*standards(Cu=10.0), *BLANKS, sample("A", solid("A", batch="B3"), Cu=1.0))
    found = result_at(evaluate(run, method(blank_rule=BlankRule.SUBTRACT)), 8)
    assert found.value is None
    assert "batch B3 has none" in str(found.why_no_value)


def test_a_blank_that_was_not_read_is_left_out_of_the_mean() -> None:
    run = run_of(*standards(Cu=10.0), *BLANKS, sample("A", Cu=1.0))
    run.signal[4, 0] = np.nan
    found = result_at(evaluate(run, method(blank_rule=BlankRule.SUBTRACT)), 8)
    assert found.solution == pytest.approx(0.96)
