"""Where the uncertainty of a result comes from, and that nothing counts twice."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labresults.calculation import budget as of
from labresults.calculation.budget import Contribution, budget, combined
from labresults.calculation.evaluation import evaluate
from labresults.calculation.run import MethodSpecification, Portion, RunTable
from labresults.calculation.solutions import find_solutions
from labresults.calculation.uncertainty import combine
from labresults.terms import SolutionKind, UncertaintyRule
from tests.calculation.builders import CU, changed, method, result_at, run_of, sample, solid, standards
from tests.calculation.published import as_printed, published

LINE = replace(CU, u_precision=0.02, u_bias=0.01)


def by_budget(**changes: object) -> MethodSpecification:
    settings_of = {"u_mass_g": 0.0002, "u_volume_relative": 0.001, "u_dilution_relative": 0.005}
    whole = {"lines": (LINE,), "rules": 2, "uncertainty_rule": UncertaintyRule.BUDGET} | settings_of | changes
    return method(**whole)  # type: ignore[arg-type]


def a_run(portion: Portion | None = None, *, dilution: float = 1.0, copper: float = 2.0) -> RunTable:
    return run_of(*standards(Cu=10.0), changed(sample("A", portion, Cu=copper), dilution=dilution))


def contributions(run: RunTable, specification: MethodSpecification) -> dict[str, Contribution]:
    solutions, portion = find_solutions(run, specification), run.positions[4].portion
    assert portion is not None
    found = budget(solutions, 4, 0, portion, specification.determinations[0])
    return {each.name: each for each in found}


def test_each_source_stands_with_its_own_share_in_the_reporting_unit() -> None:
    # given 2 mg/L diluted ten times: 2000 mg/kg from half a gram in 50 mL
    run, specification = a_run(dilution=10.0), by_budget()
    # when
    found = contributions(run, specification)
    # then mass 0.0002 g of 0.5 g, volume 0.1 %, dilution 0.5 %, bias 1 %
    assert {name: each.relative for name, each in found.items() if name != of.READING} == {
        of.MASS: pytest.approx(0.0004),
        of.VOLUME: pytest.approx(0.001),
        of.DILUTED_AT_THE_INSTRUMENT: pytest.approx(0.005),
        of.PRECISION: pytest.approx(0.02, rel=1e-3),
        of.BIAS: pytest.approx(0.01),
    }
    assert found[of.MASS].u == pytest.approx(0.8)
    result = result_at(evaluate(run, specification), 5)
    assert result.u == combine([each.u for each in found.values()])
    assert result.expanded_u == pytest.approx(2.0 * result.u)
    assert found[of.READING].u == result.u_reading


@pytest.mark.parametrize(
    ("portion", "names"),
    [
        (solid("A"), [of.MASS, of.VOLUME]),
        (solid("A", dilution=5.0), [of.MASS, of.VOLUME, of.DILUTED]),
        (replace(solid("A"), kind=SolutionKind.VOLUME_IN_VOLUME, aliquot_mL=10.0), [of.TAKEN, of.VOLUME]),
        (replace(solid("A"), kind=SolutionKind.VOLUME_IN_VOLUME, volume_mL=None), []),
        (replace(solid("A"), kind=SolutionKind.MASS_IN_MASS, mass_g=1.0, solvent_g=9.0), [of.MASS, of.SOLVENT]),
    ],
    ids=["dissolved", "and diluted", "water made up", "water as it is", "oil"],
)
def test_the_preparation_contributes_what_was_done(portion: Portion, names: list[str]) -> None:
    assert [part.name for part in of.preparation_parts(portion, 1.0, by_budget())] == names


def test_an_oil_is_as_uncertain_as_the_derivative_of_its_own_formula() -> None:
    # given w = c (m + s) / m with m = 1 g in s = 9 g: dw/dm = -c s/m², dw/ds = c/m
    oil = replace(solid("O"), kind=SolutionKind.MASS_IN_MASS, mass_g=1.0, solvent_g=9.0)
    mass, solvent = of.preparation_parts(oil, 1.0, by_budget(u_mass_g=0.001))
    assert mass.relative == pytest.approx(0.001 * 9.0 / 10.0)
    assert solvent.relative == pytest.approx(0.001 / 10.0)


@pytest.mark.parametrize("noise_percent", [0.0, 0.5, 1.0])
def test_replicates_do_not_count_twice(noise_percent: float) -> None:
    # given a precision that was found from whole work done again, with its own curves and replicates: Nordtest TR 537
    case = published("uncertainty")["ammonium in water"]
    inputs = case["inputs"]
    bias = math.hypot(combine(inputs["PT_bias_percent"]) / math.sqrt(6), inputs["u_Cref_percent"])
    line = replace(CU, u_precision=inputs["u_Rw_percent"] / 100, u_bias=bias / 100)
    specification = by_budget(lines=(line,), u_mass_g=0.0, u_volume_relative=0.0)
    run = a_run(copper=5.0)
    # when the standards scatter around their line more or less
    run.signal[1:4, 0] *= 1.0 + np.array([1.0, -1.0, 1.0]) * noise_percent / 100.0
    result = result_at(evaluate(run, specification), 5)
    # then the reading is part of the precision as long as it is the smaller
    assert result.u_reading is not None
    assert result.u_reading < line.u_precision * result.value
    assert 100.0 * result.u / result.value == as_printed(case["expected"]["uc_percent"])
    assert 100.0 * result.expanded_u / result.value == as_printed(case["expected"]["U_percent"])


def test_a_reading_worse_than_usual_shows_in_its_own_result() -> None:
    run = a_run(copper=0.05)
    run.signal[1:4, 0] += np.array([40.0, -40.0, 40.0])
    result = result_at(evaluate(run, by_budget()), 5)
    assert result.u_reading > LINE.u_precision * result.value
    assert result.u >= result.u_reading


def test_a_stated_function_shows_the_readings_part_beside_it() -> None:
    run, specification = a_run(), method(rules=2)
    found = contributions(run, specification)
    result = result_at(evaluate(run, specification), 5)
    assert result.u == pytest.approx(math.hypot(found[of.FLOOR].u, found[of.GROWING].u))
    assert found[of.READING].u == result.u_reading
    assert not found[of.READING].counts


def test_the_first_edition_of_the_rules_kept_no_part_of_the_reading() -> None:
    assert result_at(evaluate(a_run(), method(rules=1)), 5).u_reading is None


@pytest.mark.parametrize("precision", [0.0, 0.02])
def test_a_single_reading_of_an_instrument_that_calibrates_needs_a_precision(precision: float) -> None:
    # given one replicate and no curve: nothing is known of the reading itself
    run = run_of(sample("A", Cu=2.0), signal=np.array([[2.0]]))
    run.spread[:] = np.nan
    line = replace(LINE, u_precision=precision)
    result = result_at(evaluate(run, by_budget(lines=(line,), instrument_calibrates=True)), 1)
    assert result.value == pytest.approx(200.0)
    assert result.u == (pytest.approx(200.0 * math.hypot(0.02, 0.01, 0.0004, 0.001)) if precision else None)


portions = st.builds(
    Portion,
    key=st.just("A"),
    batch=st.just("B1"),
    kind=st.sampled_from([SolutionKind.MASS_IN_VOLUME, SolutionKind.VOLUME_IN_VOLUME]),
    mass_g=st.floats(0.01, 10.0),
    volume_mL=st.floats(1.0, 500.0),
    aliquot_mL=st.floats(0.5, 50.0),
    dilution=st.sampled_from([1.0, 2.0, 5.5]),
)


@settings(max_examples=60)
@given(
    portion=portions,
    copper=st.floats(-0.05, 9.5),
    dilution=st.sampled_from([1.0, 10.0]),
    precision=st.sampled_from([0.0, 0.013, 0.2]),
    bias=st.sampled_from([0.0, 0.007]),
)
def test_the_budget_of_a_result_is_its_own_uncertainty_to_the_last_bit(
    portion: Portion, copper: float, dilution: float, precision: float, bias: float
) -> None:
    run = a_run(portion, dilution=dilution, copper=copper)
    unit = "mg/L" if portion.kind is SolutionKind.VOLUME_IN_VOLUME else "mg/kg"
    line = replace(LINE, u_precision=precision, u_bias=bias)
    specification = by_budget(lines=(line,))
    specification = replace(specification, determinations=(replace(specification.determinations[0], unit=unit),))
    found = budget(find_solutions(run, specification), 4, 0, portion, specification.determinations[0])
    assert combined(found) == result_at(evaluate(run, specification), 5).u
