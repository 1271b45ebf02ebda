"""Curves fitted on single replicates, with known spreads, and what changes none of their concentrations."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from labresults.calculation.calibration import read_back
from labresults.calculation.curves import fit_curves
from labresults.calculation.run import FittedCurve, LineSpecification, RunTable
from labresults.calculation.solutions import find_solutions
from labresults.terms import Curve, FitOn, Weighting
from tests.calculation.builders import CU, method
from tests.calculation.calibrations import a_calibration
from tests.calculation.published import as_printed, published, to_digits

YTTRIUM = replace(CU, key="Y 371.029", element="Y")
ON_REPLICATES = replace(CU, fit_on=FitOn.REPLICATES)
UNEQUAL = {0.0: [48.0, 52.0], 1.0: [1040.0, 1050.0, 1060.0, 1090.0], 5.0: [5100.0], 10.0: [10000.0, 10100.0]}


def curve_of(run: RunTable, line: LineSpecification, internal_standard: str | None = None) -> FittedCurve:
    return fit_curves(run, run.signal, run.spread, {0: line}, "mg/L", internal_standard)[1, 0]


def test_a_fit_on_single_replicates_uses_each_and_shows_means() -> None:
    # given solutions that were read once to four times
    run = a_calibration(UNEQUAL)
    # when fitted on means and on single replicates
    means, singles = curve_of(run, CU), curve_of(run, ON_REPLICATES)
    # then the second is the fit of all nine readings
    x = [at for at, values in UNEQUAL.items() for _ in values]
    y = [value for values in UNEQUAL.values() for value in values]
    slope, intercept = np.polyfit(x, y, 1)
    assert singles.coefficients[:2] == (pytest.approx(intercept), pytest.approx(slope))
    assert (means.n, singles.n) == (4, 9)
    assert (means.fit_on, singles.fit_on) == (FitOn.MEANS, FitOn.REPLICATES)
    assert means.coefficients[1] != pytest.approx(singles.coefficients[1])
    # and the points are one for each solution, at its mean
    assert [point.y for point in singles.points] == [50.0, 1060.0, 5100.0, 10050.0]
    assert [point.weight for point in singles.points] == [1.0] * 4


def test_a_point_left_out_takes_all_its_replicates_with_it() -> None:
    run = a_calibration(UNEQUAL, left_out=[2])
    curve = curve_of(run, ON_REPLICATES)
    assert (curve.n, [point.used for point in curve.points]) == (5, [True, False, True, True])


def test_a_replicate_that_the_file_calls_missing_is_left_out() -> None:
    run = a_calibration({**UNEQUAL, 5.0: [5100.0, 5200.0]})
    run = replace(run, replicates={**run.replicates, (3, CU.key): (5100.0, math.nan)})
    assert curve_of(run, ON_REPLICATES).n == 9


def test_single_replicates_that_are_not_in_the_file_are_asked_for() -> None:
    # given a file with nothing but the mean of three replicates
    run = a_calibration({**UNEQUAL, 5.0: [5100.0, 5200.0, 5300.0]})
    del run.replicates[3, CU.key]  # type: ignore[attr-defined]
    assert "position 3 has only the mean of its replicates" in str(curve_of(run, ON_REPLICATES).problem)
    # then leaving it out, or fitting on means, gives a curve
    assert curve_of(replace(run, left_out=frozenset({(3, CU.key)})), ON_REPLICATES).problem is None
    assert curve_of(run, CU).problem is None


def test_single_ratios_are_to_the_replicate_of_the_same_index() -> None:
    # given signals that follow the internal standard's ups and downs from replicate to replicate
    ups = [1.0, 1.3, 0.8]
    run = a_calibration({x: [(50 + 1000 * x) * up for up in ups] for x in (0.0, 1.0, 5.0)})
    yttrium = {(number, YTTRIUM.key): tuple(5000.0 * up for up in ups) for number in (1, 2, 3)}
    run = replace(run, replicates={**run.replicates, **yttrium}, signal=run.signal / (5000.0 * np.mean(ups)))
    # when
    curve = curve_of(run, ON_REPLICATES, YTTRIUM.key)
    # then the nine ratios lie on one line
    assert curve.n == 9
    assert curve.coefficients[:2] == (pytest.approx(0.01), pytest.approx(0.2))
    assert curve.residual_sd == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    ("own", "others"), [((50.0, 51.0, 49.0), (5000.0, 5001.0)), ((50.0, 51.0, 49.0), ())], ids=["fewer", "none"]
)
def test_replicates_without_their_internal_standard_are_said(own: tuple[float, ...], others: tuple[float, ...]) -> None:
    run = a_calibration({0.0: own, 1.0: [1050.0], 5.0: [5050.0]})
    run = replace(run, replicates={**run.replicates, (1, YTTRIUM.key): others})
    problem = str(curve_of(run, ON_REPLICATES, YTTRIUM.key).problem)
    assert f"position 1 has 3 replicates and {len(others)} of the internal standard Y 371.029" in problem


def test_known_spreads_are_not_scaled_by_the_residuals() -> None:
    # given means of three replicates with s = 3 that lie far off a line
    values = {x: [50 + 100 * x + off + each for each in (-3.0, 0.0, 3.0)] for x, off in OFF.items()}
    run = a_calibration(values)
    # when the weights are 1/s², relative and absolute, on means and on replicates
    curves = {
        (weighting, fit_on): curve_of(run, replace(CU, weighting=weighting, fit_on=fit_on))
        for weighting in (Weighting.INVERSE_VARIANCE, Weighting.ABSOLUTE)
        for fit_on in FitOn
    }
    # then the line is the same, and only the absolute ones say s √(1/Sxx): ISO/TS 28037, clause 6, with u = s/√3
    assert {round(curve.coefficients[1], 9) for curve in curves.values()} == {100.0}
    known = 3.0 / np.sqrt(3 * sum((x - 1.5) ** 2 for x in OFF))
    for fit_on in FitOn:
        assert curves[Weighting.ABSOLUTE, fit_on].standard_errors[1] == pytest.approx(known)
    assert curves[Weighting.INVERSE_VARIANCE, FitOn.MEANS].standard_errors[1] > 3 * known
    # and the residual is χ/√ν of the known uncertainties
    chi2 = sum((off / (3.0 / np.sqrt(3))) ** 2 for off in OFF.values())
    assert curves[Weighting.ABSOLUTE, FitOn.MEANS].residual_sd == pytest.approx(np.sqrt(chi2 / 2))


OFF = {0.0: 10.0, 1.0: -10.0, 2.0: -10.0, 3.0: 10.0}


@pytest.mark.parametrize("fit_on", list(FitOn))
@pytest.mark.parametrize("weighting", [Weighting.INVERSE_VARIANCE, Weighting.ABSOLUTE])
def test_weights_by_spread_need_a_spread_at_every_point(weighting: Weighting, fit_on: FitOn) -> None:
    run = a_calibration({0.0: [48.0, 52.0], 1.0: [1050.0], 5.0: [5000.0, 5100.0]})
    problem = str(curve_of(run, replace(CU, weighting=weighting, fit_on=fit_on)).problem)
    assert f"position 2 has no spread of its replicates, and the weights are {weighting.value}" in problem


@pytest.mark.parametrize("fit_on", list(FitOn))
def test_a_reading_with_known_spread_is_as_sure_as_published(fit_on: FitOn) -> None:
    # given ISO/TS 28037 (2010), 6.3, where u(y) = 0.5 everywhere: here means of four replicates with s = 1
    case = published("regression")["known uncertainties"]
    given_, expected = case["inputs"], case["expected"]
    of_four = np.array([-1.0, -1.0, 1.0, 1.0]) * np.sqrt(3 / 4)
    values = [list(y + of_four) for y in (*given_["y"], given_["inverse"]["y"])]
    run = a_calibration(dict(zip(given_["x"], values, strict=False)))
    run.signal[6], run.spread[6], run.count[6] = given_["inverse"]["y"], 1.0, 4.0
    # when read back under the second edition of the rules
    line = replace(CU, weighting=Weighting.ABSOLUTE, fit_on=fit_on)
    found = find_solutions(run, method(lines=(line,), rules=2))
    # then the line, its uncertainties, the reading and its uncertainty are those of the example
    curve = found.curves[1, 0]
    assert list(curve.coefficients[:2]) == [as_printed(expected["a"]), as_printed(expected["b"])]
    assert list(curve.standard_errors[:2]) == [as_printed(expected["u_a"]), as_printed(expected["u_b"])]
    assert found.read[6, 0] == to_digits(expected["x1"], 12)
    assert found.u[6, 0] == to_digits(expected["u_x1"], 12)


# ---------------------------------------------------------------- what changes nothing

kinds = st.tuples(st.sampled_from(Curve), st.sampled_from(Weighting), st.sampled_from(FitOn))
triples = st.lists(
    st.tuples(*[st.floats(-3.0, 3.0)] * 3).filter(lambda t: max(t) - min(t) > 0.1), min_size=5, max_size=5
)


def concentrations(run: RunTable, line: LineSpecification) -> list[float]:
    """Return what readings of 3 and 7 parts of the highest standard's give, where there is a curve."""
    curve = curve_of(run, line)
    if curve.problem is not None:
        return []
    low, high = run.signal[0, 0], run.signal[4, 0]
    signals = np.array([[low + (high - low) * part] for part in (0.3, 0.7)])
    middle = np.array([(curve.low + curve.high) / 2])
    return read_back(np.array([curve.coefficients]), middle, signals)[:, 0].tolist()


def a_run_off_the_line(noise: list[tuple[float, ...]], *, scale: float = 1.0, constant: float = 0.0) -> RunTable:
    return a_calibration(
        {
            x: [scale * (200 + 1000 * x + each * (1 + x)) + constant for each in own]
            for x, own in zip((0.0, 1.0, 2.0, 5.0, 10.0), noise, strict=True)
        }
    )


@given(kind=kinds, noise=triples, scale=st.floats(1e-3, 1e3))
def test_the_unit_of_the_signals_changes_no_concentration(
    kind: tuple[Curve, Weighting, FitOn], noise: list[tuple[float, ...]], scale: float
) -> None:
    line = replace(CU, curve=kind[0], weighting=kind[1], fit_on=kind[2])
    before, after = (concentrations(a_run_off_the_line(noise, scale=each), line) for each in (1.0, scale))
    assert after == pytest.approx(before, rel=1e-9)
    assert before


@given(kind=kinds, noise=triples, constant=st.floats(-1e3, 1e4))
def test_a_constant_in_all_signals_changes_no_concentration_where_there_is_an_intercept(
    kind: tuple[Curve, Weighting, FitOn], noise: list[tuple[float, ...]], constant: float
) -> None:
    assume(kind[0] is not Curve.LINE_THROUGH_ZERO)
    line = replace(CU, curve=kind[0], weighting=kind[1], fit_on=kind[2])
    before, after = (concentrations(a_run_off_the_line(noise, constant=each), line) for each in (0.0, constant))
    assert after == pytest.approx(before, rel=1e-9)
    assert before
