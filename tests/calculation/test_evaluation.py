"""A whole run: curves, concentrations, results with their limits and marks, proposals."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labresults.calculation.errors import NoCurve, UnlikeUnits
from labresults.calculation.evaluation import evaluate
from labresults.calculation.run import Array, Determination, Expected, Interference, RunTable
from labresults.terms import Basis, Curve, Mark, Role, SolutionKind, State, Weighting
from tests.calculation.builders import (
    CONTINUING,
    CU,
    FE,
    INTERCEPT,
    SLOPE,
    At,
    changed,
    check,
    method,
    result_at,
    run_of,
    sample,
    solid,
    standards,
)


def test_a_sample_is_carried_from_its_signal_to_its_content() -> None:
    # given 2 mg/L of copper in half a gram made up to 50 mL
    run = run_of(*standards(Cu=10.0), sample("A", Cu=2.0))
    # when
    found = result_at(evaluate(run, method()), 5)
    # then value and limits went through the same chain
    assert found.value == pytest.approx(200.0)
    assert (found.detection_limit, found.quantification_limit) == (pytest.approx(1.0), pytest.approx(3.0))
    assert found.upper_limit == pytest.approx(1000.0)
    assert found.u == pytest.approx(math.hypot(0.5, 6.0))
    assert found.expanded_u == pytest.approx(2.0 * math.hypot(0.5, 6.0))
    assert (found.marks, found.why_no_value) == ((), None)


@pytest.mark.parametrize(
    ("mass_g", "dilution", "at_instrument", "times"),
    [(0.25, 1.0, 1.0, 2.0), (0.5, 10.0, 1.0, 10.0), (0.5, 1.0, 10.0, 10.0), (0.25, 2.0, 5.0, 20.0)],
    ids=["half the portion", "diluted", "diluted at the instrument", "all three"],
)
def test_limits_follow_the_sample(mass_g: float, dilution: float, at_instrument: float, times: float) -> None:
    portion = solid("A", mass_g=mass_g, dilution=dilution)
    run = run_of(*standards(Cu=10.0), changed(sample("A", portion, Cu=2.0), dilution=at_instrument))
    found = result_at(evaluate(run, method()), 5)
    assert found.value == pytest.approx(200.0 * times)
    assert found.detection_limit == pytest.approx(1.0 * times)
    assert found.upper_limit == pytest.approx(1000.0 * times)


@pytest.mark.parametrize(
    ("holds", "marks"),
    [
        (-0.02, (Mark.BELOW_DETECTION,)),
        (0.0099, (Mark.BELOW_DETECTION,)),
        (0.0101, (Mark.BELOW_QUANTIFICATION,)),
        (0.0299, (Mark.BELOW_QUANTIFICATION,)),
        (0.0301, ()),
        (9.99, ()),
        (10.01, (Mark.OVER_RANGE,)),
    ],
)
def test_marks_are_decided_on_unrounded_values(holds: float, marks: tuple[Mark, ...]) -> None:
    run = run_of(*standards(Cu=10.0), sample("A", Cu=holds))
    found = result_at(evaluate(run, method()), 5)
    assert found.marks == marks
    assert (found.value is None) is (Mark.OVER_RANGE in marks)


@pytest.mark.parametrize(
    ("holds", "at_instrument", "factor", "expect"),
    [
        (12.0, 1.0, 2.0, 6.0),
        (16.0, 1.0, 5.0, 3.2),
        (39.0, 1.0, 5.0, 7.8),
        (12.0, 10.0, 50.0, 2.4),
        (900.0, 1.0, None, None),
    ],
    ids=["2", "not quite under four fifths", "5", "replaces the dilution made", "beyond all steps"],
)
def test_a_dilution_brings_the_reading_under_four_fifths_of_the_range(
    holds: float, at_instrument: float, factor: float | None, expect: float | None
) -> None:
    run = run_of(*standards(Cu=10.0), changed(sample("A", Cu=holds), dilution=at_instrument))
    (proposal,) = evaluate(run, method()).proposals
    assert proposal.read == pytest.approx(holds)
    assert proposal.factor == factor
    assert proposal.expect == (None if expect is None else pytest.approx(expect))


def test_a_saturated_reading_proposes_no_factor() -> None:
    run = run_of(*standards(Cu=10.0), sample("A", Cu=5.0))
    run.saturated[4, 0] = True
    evaluation = evaluate(run, method())
    (proposal,) = evaluation.proposals
    assert (proposal.read, proposal.factor, proposal.expect) == (None, None, None)
    found = result_at(evaluation, 5)
    assert (found.value, found.marks) == (None, (Mark.OVER_RANGE,))
    assert "saturated" in str(found.why_no_value)


def test_verifications_over_range_propose_nothing() -> None:
    run = run_of(*standards(Cu=10.0), check("V", cu=12.0))
    assert evaluate(run, method()).proposals == ()


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
    yttrium = replace(CU, key="Y 371.029", element="Y")
    run = run_of(*standards(Cu=10.0), sample("A", Cu=2.0), lines=(CU, yttrium))
    run.signal[:, 1] = 5000.0
    run.signal[4] *= 0.8
    # when evaluated with and without the internal standard
    with_standard = evaluate(run, method(internal_standard=yttrium.key, lines=(CU, yttrium)))
    without = evaluate(run, method())
    # then
    assert result_at(with_standard, 5).value == pytest.approx(200.0)
    assert result_at(without, 5).value == pytest.approx(159.0)
    assert {result.line for result in with_standard.results} == {CU.key}


def test_a_position_without_its_internal_standard_has_no_value() -> None:
    yttrium = replace(CU, key="Y 371.029", element="Y")
    run = run_of(*standards(Cu=10.0), sample("A", Cu=2.0), lines=(CU, yttrium))
    run.signal[4, 1] = np.nan
    found = result_at(evaluate(run, method(internal_standard=yttrium.key)), 5)
    assert (found.value, found.marks) == (None, (Mark.NO_VALUE,))
    assert "internal standard" in str(found.why_no_value)


def test_a_run_without_the_internal_standard_is_refused() -> None:
    with pytest.raises(NoCurve, match=r"Y 371\.029"):
        evaluate(run_of(*standards(Cu=10.0)), method(internal_standard="Y 371.029"))


def test_an_instrument_that_calibrates_is_not_computed_again() -> None:
    run = run_of(sample("A", Cu=2.0), signal=np.array([[2.0]]))
    evaluation = evaluate(run, method(instrument_calibrates=True))
    assert evaluation.curves == ()
    assert evaluation.concentration.tolist() == [[2.0]]
    assert result_at(evaluation, 1).value == pytest.approx(200.0)


@pytest.mark.parametrize("missing", ["not read", "no moisture"])
def test_a_value_that_is_not_to_be_had_says_why(missing: str) -> None:
    portion = solid("A", basis=Basis.DRY if missing == "no moisture" else None)
    run = run_of(*standards(Cu=10.0), sample("A", portion, Cu=2.0))
    run.signal[4, 0] = np.nan if missing == "not read" else run.signal[4, 0]
    found = result_at(evaluate(run, method()), 5)
    assert (found.value, found.u, found.marks) == (None, None, (Mark.NO_VALUE,))
    assert ("was not read" if missing == "not read" else "loss on drying") in str(found.why_no_value)


def test_a_compound_on_the_dry_basis_in_percent() -> None:
    # given 20 mg/L of aluminium in half a gram with 20 % moisture
    aluminium = replace(CU, key="Al 396.152", element="Al", range_top=50.0)
    portion = solid("A", state=State.AIR_DRY, moisture_percent=20.0)
    run = run_of(*standards(Al=50.0), sample("A", portion, Al=20.0), lines=(aluminium,))
    oxide = Determination("Al", "Al2O3", "%", Basis.DRY, reporting_limit=0.01)
    # when
    found = result_at(evaluate(run, method(lines=(aluminium,), determinations=(oxide,))), 5, aluminium.key)
    # then 0.2 % aluminium, 0.25 % of what is dry, times 1.8894
    assert found.value == pytest.approx(0.25 * 1.889426, rel=1e-6)
    assert (found.reported_as, found.unit, found.basis, found.reporting_limit) == ("Al2O3", "%", Basis.DRY, 0.01)


def test_an_oil_is_calibrated_by_mass() -> None:
    places = standards(Cu=10.0)
    places = [
        changed(at, expected={"Cu": Expected(at.holds["Cu"], "mg/kg")} if at.holds["Cu"] else {}) for at in places
    ]
    oil = replace(solid("O"), kind=SolutionKind.MASS_IN_MASS, mass_g=1.0, solvent_g=9.0)
    run = run_of(*places, sample("O", oil, Cu=2.0))
    assert result_at(evaluate(run, method(solution_unit="mg/kg")), 5).value == pytest.approx(20.0)


def test_control_samples_with_a_portion_have_results_too_and_blanks_without_mass_have_none() -> None:
    blank = replace(solid("MB"), mass_g=None)
    run = run_of(
        *standards(Cu=10.0),
        sample("MB", blank, role=Role.METHOD_BLANK, Cu=0.001),
        sample("R", role=Role.REFERENCE_MATERIAL, Cu=1.0),
        sample("D", role=Role.DUPLICATE, Cu=1.0),
        sample("S", role=Role.SPIKE, Cu=1.0),
        sample("MB2", role=Role.METHOD_BLANK, Cu=0.001),
    )
    assert [result.position for result in evaluate(run, method()).results] == [6, 7, 8, 9]


def noisy(seed: int) -> RunTable:
    """Return a run of two lines with noise on every signal."""
    generator = np.random.default_rng(seed)
    places = [*standards(Cu=10.0, Fe=100.0), check("V1", cu=5.0)]
    places += [sample(f"S{i}", Cu=float(generator.uniform(0, 9)), Fe=float(generator.uniform(0, 90))) for i in range(8)]
    run = run_of(*places, check("V2", cu=5.0), lines=(CU, FE))
    return replace(run, signal=run.signal + generator.normal(0.0, 4.0, run.signal.shape))


def test_the_same_input_gives_the_same_output_bit_for_bit() -> None:
    run, specification = noisy(7), method(CONTINUING, lines=(CU, FE))
    one, other = evaluate(run, specification), evaluate(run, specification)
    assert repr(one.results) == repr(other.results)
    assert repr(one.curves) == repr(other.curves)
    assert one.concentration.tobytes() == other.concentration.tobytes()


@settings(max_examples=20)
@given(order=st.permutations(range(5, 13)), seed=st.integers(0, 50))
def test_the_order_of_the_samples_changes_no_concentration(order: list[int], seed: int) -> None:
    # given iron that interferes at copper
    from_iron = replace(CU, interferences=(Interference("Fe", 0.001),))
    run = noisy(seed)
    rows = [*range(5), *order, 13]
    shuffled = replace(
        run,
        positions=tuple(run.positions[row] for row in rows),
        signal=run.signal[rows],
        spread=run.spread[rows],
        count=run.count[rows],
    )
    # when
    specification = method(lines=(from_iron, FE))
    before, after = evaluate(run, specification), evaluate(shuffled, specification)
    # then each sample keeps its bits
    assert after.concentration.tobytes() == before.concentration[rows].tobytes()


@settings(max_examples=20)
@given(constant=st.floats(-40.0, 4000.0), seed=st.integers(0, 50))
def test_a_constant_in_all_signals_changes_no_concentration(constant: float, seed: int) -> None:
    run = noisy(seed)
    before: Array = evaluate(run, method(lines=(CU, FE))).concentration
    after = evaluate(replace(run, signal=run.signal + constant), method(lines=(CU, FE))).concentration
    assert after == pytest.approx(before, rel=1e-9, abs=1e-9)
