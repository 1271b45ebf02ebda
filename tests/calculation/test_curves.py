"""The curves of a run: points left out, blocks, shapes, weights, and the internal standard."""

import math
from dataclasses import replace

import numpy as np
import pytest

from labresults.calculation.errors import NoCurve, UnlikeUnits
from labresults.calculation.evaluation import evaluate
from labresults.calculation.run import Expected
from labresults.terms import Curve, Mark, Weighting
from tests.calculation.builders import (
    CU,
    FE,
    INTERCEPT,
    SLOPE,
    At,
    changed,
    method,
    result_at,
    run_of,
    sample,
    standards,
)

YTTRIUM = replace(CU, key="Y 371.029", element="Y")


def test_a_line_without_a_curve_fails_alone() -> None:
    # given copper standards without iron
    run = run_of(*standards(Cu=10.0), sample("A", Cu=2.0, Fe=3.0), lines=(CU, FE))
    # when
    evaluation = evaluate(run, method(lines=(CU, FE)))
    # then copper stands and iron says why not
    copper, iron = evaluation.curves
    assert (copper.problem, copper.n) == (None, 4)
    assert "at least 2 different concentrations" in str(iron.problem)
    assert math.isnan(iron.coefficients[1])
    assert result_at(evaluation, 5).value == pytest.approx(200.0)
    missing = result_at(evaluation, 5, FE.key)
    assert (missing.value, missing.marks) == (None, (Mark.NO_VALUE,))
    assert "No curve" in str(missing.why_no_value)


def test_a_point_left_out_stays_in_the_table_unused() -> None:
    # given a wrong standard, left out at copper alone
    run = run_of(*standards(Cu=10.0, Fe=100.0), sample("A", Cu=2.0), lines=(CU, FE))
    run.signal[2, 0] = 9999.0
    run = replace(run, left_out=frozenset({(3, CU.key)}))
    # when
    copper, iron = evaluate(run, method(lines=(CU, FE))).curves
    # then
    assert [point.used for point in copper.points] == [True, True, False, True]
    assert [point.weight for point in copper.points] == [1.0, 1.0, 0.0, 1.0]
    assert copper.coefficients[:2] == (pytest.approx(INTERCEPT), pytest.approx(SLOPE))
    assert copper.points[2].residual_percent == pytest.approx(98.98)
    assert (copper.n, iron.n) == (3, 4)


def test_a_position_left_out_is_unused_at_every_line() -> None:
    places = standards(Cu=10.0, Fe=100.0)
    places[1] = changed(places[1], used=False)
    curves = evaluate(run_of(*places, lines=(CU, FE)), method(lines=(CU, FE))).curves
    assert [(curve.n, curve.low, curve.high) for curve in curves] == [(3, 0.0, 10.0), (3, 0.0, 100.0)]


def test_each_block_has_its_own_curve() -> None:
    # given a second block in which the instrument is half as sensitive
    first = [*standards(Cu=10.0), sample("A", Cu=2.0)]
    second = [changed(at, block=2) for at in first]
    second = [At(replace(at.position, label=f"{at.position.label} again"), at.holds) for at in second]
    run = run_of(*first, *second)
    run.signal[5:] /= 2.0
    # when
    evaluation = evaluate(run, method())
    # then
    assert [curve.coefficients[1] for curve in evaluation.curves] == [pytest.approx(1000.0), pytest.approx(500.0)]
    assert result_at(evaluation, 5).value == pytest.approx(200.0)
    assert result_at(evaluation, 10).value == pytest.approx(200.0)


def test_a_block_without_standards_has_no_curve() -> None:
    run = run_of(*standards(Cu=10.0), changed(sample("A", Cu=2.0), block=2))
    evaluation = evaluate(run, method())
    assert "no calibration solutions" in str(evaluation.curves[1].problem)
    assert result_at(evaluation, 5).value is None


@pytest.mark.parametrize(
    ("curve", "weighting", "n"),
    [
        (Curve.LINE, Weighting.INVERSE_X, 4),
        (Curve.LINE, Weighting.INVERSE_X2, 4),
        (Curve.LINE, Weighting.INVERSE_VARIANCE, 4),
        (Curve.QUADRATIC, Weighting.NONE, 4),
        (Curve.QUADRATIC, Weighting.INVERSE_X, 4),
    ],
)
def test_every_curve_finds_a_straight_line_where_there_is_one(curve: Curve, weighting: Weighting, n: int) -> None:
    line = replace(CU, curve=curve, weighting=weighting)
    run = run_of(*standards(Cu=10.0), sample("A", Cu=2.0), lines=(line,))
    evaluation = evaluate(run, method(lines=(line,)))
    assert evaluation.curves[0].n == n
    assert evaluation.curves[0].coefficients == (
        pytest.approx(INTERCEPT),
        pytest.approx(SLOPE),
        pytest.approx(0.0, abs=1e-9),
    )
    assert result_at(evaluation, 5).value == pytest.approx(200.0)


def test_a_line_through_zero_has_no_constant_term() -> None:
    line = replace(CU, curve=Curve.LINE_THROUGH_ZERO)
    run = run_of(*standards(Cu=10.0), sample("A", Cu=2.0), lines=(line,))
    run = replace(run, signal=run.signal - INTERCEPT)
    evaluation = evaluate(run, method(lines=(line,)))
    assert evaluation.curves[0].coefficients == (0.0, pytest.approx(SLOPE), 0.0)
    assert result_at(evaluation, 5).value == pytest.approx(200.0)


def test_a_curve_that_turns_within_its_range_is_refused() -> None:
    line = replace(CU, curve=Curve.QUADRATIC)
    run = run_of(*standards(Cu=10.0), sample("A", Cu=2.0), lines=(line,))
    run.signal[:4, 0] = [0.0, 1000.0, 2000.0, 500.0]
    evaluation = evaluate(run, method(lines=(line,)))
    assert "two concentrations" in str(evaluation.curves[0].problem)
    assert result_at(evaluation, 5).value is None


def test_a_standard_without_spread_cannot_be_weighted_by_it() -> None:
    line = replace(CU, weighting=Weighting.INVERSE_VARIANCE)
    run = run_of(*standards(Cu=10.0), sample("A", Cu=2.0), lines=(line,))
    run.spread[1, 0] = np.nan
    assert "position 2 has no spread" in str(evaluate(run, method(lines=(line,))).curves[0].problem)


def test_standards_are_taken_in_their_own_unit() -> None:
    places = standards(Cu=10.0)
    places[3] = changed(places[3], expected={"Cu": Expected(10000.0, "ug/L")})
    assert evaluate(run_of(*places), method()).curves[0].high == 10.0
    places[3] = changed(places[3], expected={"Cu": Expected(10.0, "mg/kg")})
    with pytest.raises(UnlikeUnits, match="std 3"):
        evaluate(run_of(*places), method())


def test_a_ratio_to_the_internal_standard_takes_away_what_all_lines_share() -> None:
    # given yttrium in every solution, and a sample that reaches the plasma at 80 %
    run = run_of(*standards(Cu=10.0), sample("A", Cu=2.0), lines=(CU, YTTRIUM))
    run.signal[:, 1] = 5000.0
    run.signal[4] *= 0.8
    # when evaluated with and without the internal standard
    with_standard = evaluate(run, method(internal_standard=YTTRIUM.key, lines=(CU, YTTRIUM)))
    without = evaluate(run, method())
    # then
    assert result_at(with_standard, 5).value == pytest.approx(200.0)
    assert result_at(without, 5).value == pytest.approx(159.0)
    assert {result.line for result in with_standard.results} == {CU.key}


def test_a_position_without_its_internal_standard_has_no_value() -> None:
    run = run_of(*standards(Cu=10.0), sample("A", Cu=2.0), lines=(CU, YTTRIUM))
    run.signal[4, 1] = np.nan
    found = result_at(evaluate(run, method(internal_standard=YTTRIUM.key)), 5)
    assert (found.value, found.marks) == (None, (Mark.NO_VALUE,))
    assert "internal standard" in str(found.why_no_value)


def test_a_run_without_the_internal_standard_is_refused() -> None:
    with pytest.raises(NoCurve, match=r"Y 371\.029"):
        evaluate(run_of(*standards(Cu=10.0)), method(internal_standard="Y 371.029"))
