"""The calculation written out: the last value is the result's own, and each step can be done again."""

from dataclasses import replace

import numpy as np
import pytest

from labresults.calculation.errors import NotInRun
from labresults.calculation.evaluation import evaluate
from labresults.calculation.explain import explain
from labresults.calculation.explain_solution import NOT_APPLIED
from labresults.calculation.run import (
    RULES,
    Determination,
    Interference,
    MethodSpecification,
    Portion,
    Position,
    RunTable,
    Step,
)
from labresults.terms import Basis, BlankRule, Curve, DriftRule, Role, SolutionKind, State, UncertaintyRule
from tests.calculation.builders import CU, FE, At, changed, check, method, result_at, run_of, sample, solid, standards


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
        ("Not applied by this method version", "2", None, "mg/L"),
        ("Times the dilution", "2 mg/L × 5", None, "mg/L"),
        ("Times the volume", "10 mg/L × 0.05 L", None, "mg"),
        ("Divided by the test portion", "0.5 mg", "0.0005 kg", "mg/kg"),
        ("Expanded uncertainty", "2 × √(2.5² + (0.03 × 1000)²)", None, "mg/kg"),
        ("The result", "1000", None, "mg/kg"),
    ]


DRIFTING = {"drift_rule": DriftRule.BY_POSITION, "drift_limit_percent": 10.0, "rules": RULES}
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
    # given a noisy run with drift, interference and a subtracted blank
    line = replace(CU, curve=curve, interferences=(Interference("Fe", 0.0021),))
    blank = sample("MB", portion, role=Role.METHOD_BLANK, Cu=0.031)
    samples = [sample("A", portion, Cu=3.217, Fe=41.0), blank]
    places = [*standards(Cu=10.0, Fe=100.0), check("V1", cu=5.0), *samples, check("V2", cu=5.3)]
    run = run_of(*places, lines=(line, FE))
    noise = np.random.default_rng(3).normal(0.0, 9.0, run.signal.shape)
    run = replace(run, signal=run.signal + noise)
    specification = method(lines=(line, FE), determinations=(determination,), blank_rule=BlankRule.SUBTRACT, **DRIFTING)
    # when
    steps = written(run, specification, position=6)
    # then the shown figures give each value, and the last is the result's to the last bit
    for step in steps:
        assert redone(step) == pytest.approx(step.value, rel=2e-5), step
    result = result_at(evaluate(run, specification), 6)
    assert steps[-1].value == result.value
    assert steps[-2].value == result.expanded_u
    assert {"Less the drift", "Less what others pretend", "Less the method blank"} <= {step.what for step in steps}


def test_a_ratio_to_the_internal_standard_is_shown() -> None:
    yttrium = replace(CU, key="Y 371.029", element="Y")
    run = run_of(*standards(Cu=10.0), sample("A", Cu=2.0), lines=(CU, yttrium))
    run.signal[:, 1] = 4000.0
    steps = written(run, method(internal_standard=yttrium.key))
    assert (steps[1].numerator, steps[1].denominator, steps[1].value) == ("2050", "4000", 0.5125)


def test_the_internal_standard_says_how_it_stands_against_its_calibration_solutions() -> None:
    yttrium = replace(CU, key="Y 371.029", element="Y")
    run = run_of(*standards(Cu=10.0), sample("A", Cu=2.0), lines=(CU, yttrium))
    run.signal[:, 1] = (4000.0, 4000.0, 4000.0, 4000.0, 3000.0)
    steps = written(run, method(internal_standard=yttrium.key))
    assert steps[1].note == (
        "divided by the reading of Y 371.029 at this position; it stands at 75 % of its calibration solutions"
    )


PLACES = [
    *standards(Cu=10.0),
    check("ICV", role=Role.INITIAL_VERIFICATION, cu=5.0),
    *(sample(f"S{number}", Cu=2.0) for number in range(3)),
    check("CCV", cu=5.2),
    sample("L", Cu=2.0),
]


def step_of(steps: tuple[Step, ...], what: str) -> Step:
    (found,) = [step for step in steps if step.what == what]
    return found


def test_drift_is_written_out_with_both_checks_and_the_place_between_them() -> None:
    # given 4 % of drift between the checks at positions 5 and 9
    steps = written(run_of(*PLACES), method(**DRIFTING), position=6)
    factor, less = step_of(steps, "Drift between the checks"), step_of(steps, "Less the drift")
    assert factor.note == (
        "the checks at positions 5 and 9 find 1 and 1.04 times what the first check of the block found; "
        "this position stands 0.25 of the way, linear in position"
    )
    assert (factor.numerator, factor.value) == ("1 + (1.04 − 1) × 0.25", pytest.approx(1.01))
    assert (less.numerator, less.denominator, less.value) == ("2", "1.01", pytest.approx(2.0 / 1.01))
    assert "drift" not in step_of(steps, NOT_APPLIED).note


def test_drift_in_time_is_said_to_be() -> None:
    run = replace(run_of(*PLACES), times_s=(0.0, 1.0, 2.0, 3.0, 100.0, 110.0, 120.0, 130.0, 200.0, 210.0))
    steps = written(run, method(**{**DRIFTING, "drift_rule": DriftRule.BY_TIME}), position=6)
    assert "this position stands 0.1 of the way, linear in time" in step_of(steps, "Drift between the checks").note


@pytest.mark.parametrize(
    ("position", "what", "words"),
    [
        (10, "Drift not corrected", "position 10 does not stand between two checks"),
        (9, NOT_APPLIED, "drift (checks are judged as they were read)"),
    ],
    ids=["beyond the last check", "a check"],
)
def test_drift_that_is_not_corrected_says_why(position: int, what: str, words: str) -> None:
    steps = written(run_of(*PLACES), method(**DRIFTING), position=position)
    assert words in step_of(steps, what).note


def test_standard_additions_are_written_out_with_their_line() -> None:
    # given a matrix that leaves half of the signal
    added = [
        At(Position(0, Role.STANDARD_ADDITION, f"A + {n}", parent=5, added={"Cu": n}), {"Cu": 0.5 * (2.0 + n)})
        for n in (2.0, 4.0)
    ]
    run = run_of(*standards(Cu=10.0), sample("A", Cu=1.0), *added)
    steps = written(run, method(by_additions=True, rules=RULES))
    step = step_of(steps, "By standard additions")
    assert step.note.startswith("a straight line through positions 5, 6, 7: read = 1 + 0.5 × added; ")
    assert (step.numerator, step.denominator, step.value) == ("1", "0.5", pytest.approx(2.0))
    assert steps[-1].value == pytest.approx(200.0)


def test_the_blank_is_written_out_with_its_positions_and_uncertainty() -> None:
    blanks = [sample(f"MB {n}", role=Role.METHOD_BLANK, Cu=n) for n in (0.02, 0.04)]
    run = run_of(*standards(Cu=10.0), sample("A", Cu=2.0), *blanks)
    step = step_of(written(run, method(blank_rule=BlankRule.SUBTRACT, rules=RULES)), "Less the method blank")
    assert step.note == (
        "mean of the batch's method blanks at positions 6, 7, scaled to this volume and dilution; "
        "standard uncertainty 0.01 mg/L"
    )
    assert (step.numerator, step.value) == ("2 − 0.03", pytest.approx(1.97))


def test_what_may_be_carried_over_is_shown_and_not_taken_away() -> None:
    line = replace(CU, carry_over=0.01)
    run = run_of(*standards(Cu=10.0), sample("high", Cu=9.0), sample("low", Cu=0.05), lines=(line,))
    steps = written(run, method(lines=(line,), rules=RULES), position=6)
    step = step_of(steps, "May be carried over")
    assert (step.numerator, step.value) == ("0.01 × 9", pytest.approx(0.09))
    assert steps[-1].value == pytest.approx(5.0)


def test_a_combined_uncertainty_is_written_out_source_by_source() -> None:
    # given 2 mg/L in half a gram, with what the balance, the flask and the bias contribute
    line = replace(CU, u_bias=0.02)
    run = run_of(*standards(Cu=10.0), sample("A", Cu=2.0), lines=(line,))
    run.signal[1:4, 0] += (3.0, -4.0, 2.0)  # some scatter of the standards
    specification = method(
        lines=(line,), rules=RULES, uncertainty_rule=UncertaintyRule.BUDGET, u_mass_g=0.001, u_volume_relative=0.005
    )
    # when
    steps = written(run, specification)
    # then each source is a step, and they give the result's own to the last bit
    said = [step.what for step in steps if step.what.startswith("Uncertainty")]
    assert said == [
        "Uncertainty: calibration and replicates",
        "Uncertainty: mass of the portion",
        "Uncertainty: volume made up to",
        "Uncertainty: bias",
    ]
    result = result_at(evaluate(run, specification), 5)
    combined = step_of(steps, "Standard uncertainty")
    assert combined.value == result.u
    assert combined.value == pytest.approx(np.sqrt(sum(step.value**2 for step in steps if step.what in said)))
    for step in steps:
        assert redone(step) == pytest.approx(step.value, rel=2e-5), step
    assert (steps[-2].what, steps[-2].value) == ("Expanded uncertainty", result.expanded_u)


def test_what_the_method_does_not_do_is_named_in_one_line() -> None:
    steps = written(run_of(*standards(Cu=10.0), sample("A", Cu=2.0)), method())
    assert step_of(steps, NOT_APPLIED).note == (
        "internal standard, standard additions, drift, inter-element correction (none is named at this line), "
        "method blank (judged, not subtracted)"
    )


def test_what_is_over_range_is_written_out_as_far_as_it_goes() -> None:
    run = run_of(*standards(Cu=10.0), sample("A", Cu=20.0))
    assert [step.what for step in written(run, method())] == ["The reading", "Through the curve"]


def test_a_reading_that_is_not_there_leaves_nothing_to_write() -> None:
    run = run_of(*standards(Cu=10.0), sample("A", Cu=2.0))
    run.signal[4, 0] = np.nan
    assert written(run, method()) == ()


def test_a_check_is_written_out_to_its_concentration() -> None:
    steps = written(run_of(*standards(Cu=10.0), check("V", cu=5.0)), method())
    assert (steps[-1].what, steps[-1].value) == (NOT_APPLIED, pytest.approx(5.0))


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
