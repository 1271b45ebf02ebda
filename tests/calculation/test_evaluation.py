"""A whole run: curves, concentrations, results with their limits and marks, proposals."""

import math
from dataclasses import replace
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labresults.calculation.errors import NeedsMoisture
from labresults.calculation.evaluation import evaluate
from labresults.calculation.preparation import chain_factor
from labresults.calculation.run import Array, Determination, Expected, Interference, Portion, RunTable
from labresults.terms import Basis, Mark, Role, SolutionKind, State
from tests.calculation.builders import (
    CONTINUING,
    CU,
    FE,
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


def test_a_reading_after_a_very_high_one_is_marked_from_the_second_edition_on() -> None:
    sticky = replace(CU, carry_over=0.02)
    run = run_of(*standards(Cu=10.0), sample("A", Cu=9.0), sample("B", Cu=0.2), sample("C", Cu=0.2), lines=(sticky,))
    marked = {
        rules: [each.position for each in evaluate(run, method(lines=(sticky,), rules=rules)).results if each.marks]
        for rules in (1, 2)
    }
    assert marked == {1: [], 2: [6]}


def test_results_are_read_like_a_tuple_and_found_by_their_place() -> None:
    run = run_of(*standards(Cu=10.0, Fe=100.0), sample("A", Cu=2.0), sample("B", Cu=3.0), lines=(CU, FE))
    table = evaluate(run, method(lines=(CU, FE))).results
    assert len(table) == 4
    assert list(table) == [table[0], table[1], *table[2:4]]
    assert table.at(6, CU.key) == table[2]  # type: ignore[attr-defined]
    assert table.at(1, CU.key) is None  # type: ignore[attr-defined]
    assert repr(table) == repr(tuple(table))


def alone(portion: Portion) -> float | str:
    """Return the factor of one portion's chain, or why it cannot be followed."""
    try:
        return chain_factor(portion, Determination("Cu", "Cu", "mg/kg"), solution_unit="mg/L")
    except NeedsMoisture as error:
        return str(error)


@settings(max_examples=30)
@given(seed=st.integers(0, 10_000))
def test_results_in_bulk_are_those_of_each_portion_alone(seed: int) -> None:
    # given portions of all kinds of states and dilutions, some without the moisture that their basis needs
    chance = Random(seed)
    portions = [
        solid(
            f"P{n}",
            mass_g=chance.uniform(0.1, 2.0),
            state=chance.choice([State.AS_RECEIVED, State.AIR_DRY, State.DRIED_105]),
            moisture_percent=chance.choice([None, 5.0, 12.5]),
            basis=chance.choice([None, Basis.DRY]),
            dilution=chance.choice([1.0, 4.0]),
        )
        for n in range(6)
    ]
    run = run_of(*standards(Cu=10.0), *[sample(each.key, each, Cu=chance.uniform(-0.02, 11.0)) for each in portions])
    # when
    results = evaluate(run, method()).results
    # then each has the very bits of its own chain, or its own reason
    for portion, result in zip(portions, results, strict=True):
        factor = alone(portion)
        if isinstance(factor, str):
            assert result.value is None
            assert factor in str(result.why_no_value) or Mark.OVER_RANGE in result.marks
        else:
            assert result.upper_limit == CU.range_top * factor
            assert result.value == (None if result.solution is None else result.solution * factor)
