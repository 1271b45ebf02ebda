"""Inter-element correction: what others pretend is taken away, and how much that is, from single elements."""

from dataclasses import replace

import numpy as np
import pytest

from labresults.calculation.errors import NoInterferent
from labresults.calculation.evaluation import evaluate
from labresults.calculation.interference import Apparent, apparent_from, correct, corrections
from labresults.calculation.run import RULES, Expected, Interference, Position
from labresults.calculation.solutions import Solutions, find_solutions
from labresults.terms import Mark, Role
from tests.calculation.builders import (
    CU,
    FE,
    At,
    method,
    noisy,
    result_at,
    run_of,
    sample,
    standards,
)

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


def test_the_uncertainty_of_a_correction_reaches_the_result() -> None:
    """u² = u(As)² + (0.013 u(Al))²: JCGM 100:2008 (GUM), 5.1.2, of As = read(As) − 0.013 × read(Al)."""
    run = noisy(run_of(*standards(As=10.0, Al=100.0), sample("A", As=0.63, Al=10.0), lines=LINES))
    found = find_solutions(run, method(lines=LINES, rules=RULES))
    assert found.u[4, 0] == pytest.approx(np.hypot(found.u_read[4, 0], 0.013 * found.u_read[4, 1]))
    assert found.u[4, 1] == pytest.approx(found.u_read[4, 1])


# ---------------------------------------------------------------- coefficients from single-element solutions

CHECK_OF_AL = {"Al": Expected(50.0, "mg/L", u=0.1)}


def single_element(al: float, *, expected: dict[str, Expected] | None = None, **also: float) -> Solutions:
    """Return the solutions of a run whose position 5 is a solution of aluminium that reads as arsenic, 0.013 of it."""
    place = Position(0, Role.INTERFERENCE_CHECK, "Al 50", expected=expected or CHECK_OF_AL)
    content = {"As": 0.013 * al + also.get("As", 0.0), "Al": al}
    plain = replace(ARSENIC, interferences=())
    run = noisy(run_of(*standards(As=10.0, Al=100.0), At(place, content), lines=(plain, ALUMINIUM)))
    return find_solutions(run, method(lines=(plain, ALUMINIUM), rules=RULES))


def test_a_coefficient_is_found_from_a_single_element_solution() -> None:
    # given 49 mg/L of aluminium in a solution that should hold 50
    found = single_element(49.0)
    # when
    (apparent,) = apparent_from(found, 4).values()
    # then it is referred to what was read, and its uncertainty is that of both readings
    read_as, read_al = found.read[4]
    assert apparent == Apparent(
        line="As 193.696",
        element="Al",
        coefficient=pytest.approx(read_as / read_al),
        u=pytest.approx(np.hypot(found.u_read[4, 0], read_as / read_al * found.u_read[4, 1]) / read_al),
        reads=pytest.approx(read_as),
        holds=pytest.approx(read_al),
        from_line="Al 308.215",
        as_read=True,
        significant=True,
    )
    assert apparent.coefficient == pytest.approx(0.013, abs=5e-4)


def test_over_its_range_the_interferent_counts_as_stated() -> None:
    found = single_element(500.0, expected={"Al": Expected(500_000.0, "ug/L", u=1_000.0)})
    (apparent,) = apparent_from(found, 4).values()
    assert (apparent.holds, apparent.as_read, apparent.from_line) == (500.0, False, "")
    assert apparent.u == pytest.approx(np.hypot(found.u_read[4, 0], apparent.coefficient * 1.0) / 500.0)


def test_what_the_solution_is_said_to_hold_of_the_other_element_is_taken_off() -> None:
    """A certificate that states 0.02 mg/L of arsenic beside 50 mg/L of aluminium (invented)."""
    found = single_element(50.0, expected={**CHECK_OF_AL, "As": Expected(0.02, "mg/L")}, As=0.02)
    (apparent,) = apparent_from(found, 4).values()
    assert apparent.reads == pytest.approx(found.read[4, 0] - 0.02)


def test_a_coefficient_within_three_of_its_uncertainties_says_nothing() -> None:
    found = single_element(49.0)
    quiet = replace(found, u_read=found.read * 0.34)
    assert not next(iter(apparent_from(quiet, 4).values())).significant
    assert next(iter(apparent_from(found, 4).values())).significant


def test_a_line_that_was_not_read_or_is_over_range_gives_no_coefficient() -> None:
    assert apparent_from(single_element(49.0, As=20.0), 4) == {}


@pytest.mark.parametrize(
    ("row", "expected", "words"),
    [
        (1, None, "no interference check"),
        (4, {"Al": Expected(50.0, "mg/L"), "As": Expected(1.0, "mg/L")}, "at least 100 times above every other"),
        (4, {"Al": Expected(0.0, "mg/L")}, "a solution of one element"),
    ],
    ids=["a standard", "two elements", "nothing"],
)
def test_a_solution_that_is_not_of_one_element_is_refused(
    row: int, expected: dict[str, Expected] | None, words: str
) -> None:
    with pytest.raises(NoInterferent, match=words):
        apparent_from(single_element(49.0, expected=expected), row)
