"""Standard additions: against a published example, and on runs whose samples have additions."""

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import stdtrit

from labresults.calculation.errors import NoCurve, TooFewValues
from labresults.calculation.run import RunTable
from labresults.calculation.standard_addition import additions_of, by_additions
from labresults.terms import Role
from tests.calculation.builders import CU, FE, At, changed, run_of, sample
from tests.calculation.published import as_printed, published

SILVER = published("calibration")["additions"]
FLUORESCEIN = published("calibration")["fluorescein"]["inputs"]["longer_series"]


def test_silver_in_photographic_waste_is_found_by_additions() -> None:
    # given Miller & Miller, example 5.8.1 (from memory)
    given_, expected, again = SILVER["inputs"], SILVER["expected"], SILVER["recomputed"]
    # when
    found = by_additions(given_["added_ug_mL"], given_["absorbance"])
    # then slope, intercept, content and its limits of confidence are those of the book
    assert (found.slope, found.intercept) == (as_printed(expected["slope"]), as_printed(expected["intercept"]))
    assert found.found == as_printed(expected["x_E"])
    assert found.u * stdtrit(5, 0.975) == as_printed(expected["ci95"])
    # and both agree with an independent computation of the same formula
    assert (found.found, found.u) == (pytest.approx(again["x_E"], rel=1e-12), pytest.approx(again["s_xE"], rel=1e-12))
    assert (found.n, found.warning) == (7, "")


def test_the_uncertainty_is_the_formula_of_the_book() -> None:
    added, signal = np.array([0.0, 2.0, 4.0, 8.0]), np.array([1.0, 1.9, 3.1, 5.0])
    found = by_additions(added.tolist(), signal.tolist())
    slope, intercept = np.polyfit(added, signal, 1)
    s = np.sqrt(((signal - intercept - slope * added) ** 2).sum() / 2)
    spread = ((added - added.mean()) ** 2).sum()
    assert found.u == pytest.approx(s / slope * np.sqrt(1 / 4 + signal.mean() ** 2 / (slope**2 * spread)), rel=1e-12)


@pytest.mark.parametrize(
    ("added", "signal", "error", "words"),
    [
        ([0.0, 5.0], [1.0, 2.0], TooFewValues, "2 readings .* at least two additions"),
        ([0.0, 5.0, 10.0], [1.0, float("nan"), 3.0], TooFewValues, "2 readings"),
        ([5.0, 10.0, 15.0], [1.0, 2.0, 3.0], TooFewValues, "the solution itself"),
        ([0.0, 5.0, 10.0], [3.0, 2.0, 1.0], NoCurve, "do not rise"),
        ([0.0, 5.0, 10.0], [3.0, 3.0, 3.0], NoCurve, "do not rise"),
        ([0.0, 0.0, 0.0], [1.0, 2.0, 3.0], NoCurve, "do not rise"),
    ],
    ids=["one addition", "one not read", "not without addition", "falls", "level", "nothing added"],
)
def test_what_cannot_be_told_from_additions_is_refused(
    added: list[float], signal: list[float], error: type[Exception], words: str
) -> None:
    with pytest.raises(error, match=words):
        by_additions(added, signal)


def test_readings_that_bend_are_told() -> None:
    # given a series that flattens at its end (Miller & Miller's longer fluorescein series), and its straight part
    x, y = FLUORESCEIN["x"], FLUORESCEIN["y"]
    assert "flatten" in by_additions(x, y).warning
    assert by_additions(x[:7], y[:7]).warning == ""
    assert "steepen" in by_additions(x, [value**2 for value in y[:7]] + [1000.0, 1300.0, 1700.0, 2200.0]).warning


def test_three_points_cannot_tell_a_bend() -> None:
    assert by_additions([0.0, 1.0, 2.0], [1.0, 2.5, 3.0]).warning == ""


@given(content=st.floats(0.01, 100.0), sensitivity=st.floats(0.05, 20.0), step=st.floats(0.1, 50.0))
def test_additions_find_the_content_whatever_the_matrix_does_to_the_sensitivity(
    content: float, sensitivity: float, step: float
) -> None:
    added = [0.0, step, 2 * step, 3 * step]
    found = by_additions(added, [sensitivity * (content + each) for each in added])
    assert found.found == pytest.approx(content, rel=1e-9, abs=1e-10 * step)
    assert found.warning == ""


def addition(parent: int, label: str, added: float, **changes: object) -> At:
    """Return an addition of copper to a sample that holds 2 mg/L; the matrix keeps 80 % of the signal."""
    portion = sample("A", Cu=2.0).position.portion
    at = At(sample(label, portion).position, {"Cu": 0.8 * (2.0 + added)})
    return changed(at, role=Role.STANDARD_ADDITION, parent=parent, added={"Cu": added}, **changes)


def a_run(*additions: At) -> RunTable:
    """Return a sample at position 1 that reads 1.6 of its 2 mg/L, its additions, and a sample without any."""
    return run_of(At(sample("A").position, {"Cu": 1.6}), *additions, sample("B", Cu=3.0), lines=(CU, FE))


def test_additions_are_found_by_what_they_were_made_to() -> None:
    # given two additions to a sample whose matrix takes a fifth of the signal
    run = a_run(addition(1, "A + 2", 2.0), addition(1, "A + 4", 4.0))
    read = (run.signal - 50.0) / 1000.0
    # when
    found = additions_of(run, read, 0)
    # then the sample's content comes back, by its row; the sample without additions is not there
    assert list(found) == [0]
    assert found[0].found == pytest.approx(2.0, rel=1e-12)
    assert found[0].slope == pytest.approx(0.8, rel=1e-12)
    assert found[0].positions == (1, 2, 3)
    assert found[0].problem is None


@pytest.mark.parametrize(
    ("additions", "column", "words"),
    [
        ([addition(1, "A + 2", 2.0)], 0, "Cu 324.754: 2 readings for standard additions"),
        ([addition(1, "A + 2", 2.0), addition(1, "A + 4", 4.0)], 1, "Fe 238.204: none of the additions to A holds Fe"),
        ([addition(1, "A + 2", 2.0, dilution=2.0), addition(1, "A + 4", 4.0)], 0, "position 2 is diluted otherwise"),
        ([addition(1, "A + 2", 2.0), addition(1, "A + 4", 4.0, block=2)], 0, "position 3 .* another calibration"),
    ],
    ids=["one addition", "of another element", "another dilution", "another block"],
)
def test_why_additions_give_nothing_is_said_at_the_sample(additions: list[At], column: int, words: str) -> None:
    run = a_run(*additions)
    found = additions_of(run, (run.signal - 50.0) / 1000.0, column)[0]
    assert np.isnan(found.found)
    assert re.search(words, str(found.problem))


def test_an_addition_that_was_not_read_leaves_the_others() -> None:
    run = a_run(addition(1, "A + 2", 2.0), addition(1, "A + 4", 4.0), addition(1, "A + 6", 6.0))
    run = replace(run, signal=np.where(np.arange(5)[:, None] == 2, np.nan, run.signal))
    found = additions_of(run, (run.signal - 50.0) / 1000.0, 0)[0]
    assert found.found == pytest.approx(2.0, rel=1e-12)
    assert found.n == 3
