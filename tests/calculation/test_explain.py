"""The calculation written out: the last value is the result's own, and each step can be done again."""

from dataclasses import replace

import numpy as np
import pytest

from labresults.calculation.errors import NotInRun
from labresults.calculation.evaluation import evaluate
from labresults.calculation.explain import explain
from labresults.calculation.run import Determination, Interference, MethodSpecification, Portion, RunTable, Step
from labresults.terms import Basis, BlankRule, Curve, Role, SolutionKind, State
from tests.calculation.builders import CU, FE, changed, check, method, result_at, run_of, sample, solid, standards


def written(
    run: RunTable, specification: MethodSpecification, position: int = 5, line: str = CU.key
) -> tuple[Step, ...]:
    return explain(run, specification, evaluate(run, specification), position, line)


def redone(step: Step) -> float:
    """Return what the shown numbers of a step give."""
    text = f"({step.numerator}) / ({step.denominator or 1})"
    for unit in ("mg/kg", "mg/L", "mg", "mL", "kg", " L", " g", "%"):
        text = text.replace(unit, "")
    text = text.replace("×", "*").replace("−", "-").replace("²", "**2").replace("√(", "np.sqrt(")
    return float(eval(text, {"np": np}))


def test_a_plain_result_is_written_out_step_by_step() -> None:
    # given 2 mg/L in half a gram, diluted at the instrument
    run = run_of(*standards(Cu=10.0), changed(sample("A", Cu=2.0), dilution=5.0))
    # when
    steps = written(run, method())
    # then
    assert [(step.what, step.numerator, step.denominator, step.unit) for step in steps] == [
        ("The reading", "2050", None, "counts/s"),
        ("Through the curve", "2050 − 50", "1000", "mg/L"),
        ("Corrections", "2", None, "mg/L"),
        ("Times the dilution", "2 mg/L × 5", None, "mg/L"),
        ("Times the volume", "10 mg/L × 0.05 L", None, "mg"),
        ("Divided by the test portion", "0.5 mg", "0.0005 kg", "mg/kg"),
        ("Expanded uncertainty", "2 × √(2.5² + (0.03 × 1000)²)", None, "mg/kg"),
        ("The result", "1000", None, "mg/kg"),
    ]


WATER = Portion("A", "B1", SolutionKind.VOLUME_IN_VOLUME, volume_mL=50.0, aliquot_mL=20.0, dilution=3.0)
DRY = solid("A", mass_g=0.2513, state=State.AIR_DRY, moisture_percent=3.7, dilution=2.5)


@pytest.mark.parametrize(
    ("portion", "determination", "curve"),
    [
        (DRY, Determination("Cu", "CuO", "%", Basis.DRY), Curve.LINE),
        (DRY, Determination("Cu", "Cu", "mg/kg", Basis.DRY), Curve.QUADRATIC),
        (WATER, Determination("Cu", "Cu", "ug/L"), Curve.LINE),
    ],
    ids=["oxide on the dry basis", "quadratic", "water"],
)
def test_every_step_can_be_done_again_and_the_last_is_the_result(
    portion: Portion, determination: Determination, curve: Curve
) -> None:
    # given a noisy run with interference and a subtracted blank
    line = replace(CU, curve=curve, interferences=(Interference("Fe", 0.0021),))
    blank = sample("MB", portion, role=Role.METHOD_BLANK, Cu=0.031)
    run = run_of(*standards(Cu=10.0, Fe=100.0), sample("A", portion, Cu=3.217, Fe=41.0), blank, lines=(line, FE))
    noise = np.random.default_rng(3).normal(0.0, 9.0, run.signal.shape)
    run = replace(run, signal=run.signal + noise)
    specification = method(lines=(line, FE), determinations=(determination,), blank_rule=BlankRule.SUBTRACT)
    # when
    steps = written(run, specification)
    # then the shown figures give each value, and the last is the result's to the last bit
    for step in steps:
        assert redone(step) == pytest.approx(step.value, rel=2e-5), step
    result = result_at(evaluate(run, specification), 5)
    assert steps[-1].value == result.value
    assert steps[-2].value == result.expanded_u
    assert "Less the method blank" in [step.what for step in steps]


def test_a_ratio_to_the_internal_standard_is_shown() -> None:
    yttrium = replace(CU, key="Y 371.029", element="Y")
    run = run_of(*standards(Cu=10.0), sample("A", Cu=2.0), lines=(CU, yttrium))
    run.signal[:, 1] = 4000.0
    steps = written(run, method(internal_standard=yttrium.key))
    assert (steps[1].numerator, steps[1].denominator, steps[1].value) == ("2050", "4000", 0.5125)


def test_what_is_over_range_is_written_out_as_far_as_it_goes() -> None:
    run = run_of(*standards(Cu=10.0), sample("A", Cu=20.0))
    assert [step.what for step in written(run, method())] == ["The reading", "Through the curve"]


def test_a_reading_that_is_not_there_leaves_nothing_to_write() -> None:
    run = run_of(*standards(Cu=10.0), sample("A", Cu=2.0))
    run.signal[4, 0] = np.nan
    assert written(run, method()) == ()


def test_a_check_is_written_out_to_its_concentration() -> None:
    steps = written(run_of(*standards(Cu=10.0), check("V", cu=5.0)), method())
    assert (steps[-1].what, steps[-1].value) == ("Corrections", pytest.approx(5.0))


def test_an_instrument_that_calibrates_is_said_to() -> None:
    run = run_of(sample("A", Cu=2.0), signal=np.array([[2.0]]))
    steps = written(run, method(instrument_calibrates=True), position=1)
    assert steps[1].note == "calibrated by the instrument, not recomputed"
    assert steps[-1].value == pytest.approx(200.0)


@pytest.mark.parametrize(("position", "line"), [(99, CU.key), (5, "Zn 213.857")])
def test_a_place_that_the_run_lacks_is_refused(position: int, line: str) -> None:
    run = run_of(*standards(Cu=10.0), sample("A", Cu=2.0))
    with pytest.raises(NotInRun):
        written(run, method(), position, line)
