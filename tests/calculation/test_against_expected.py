"""Control samples whose content is known: certified values with their uncertainty, interference and range checks."""

from dataclasses import replace

import pytest

from labresults.calculation.evaluation import evaluate
from labresults.calculation.quality_control import error_ratio
from labresults.calculation.run import ControlOutcome, Expected, Interference
from labresults.terms import DriftRule, Mark, Measure, Reach, Role, UncertaintyRule, Verdict
from tests.calculation.builders import (
    CONTINUING,
    CU,
    FE,
    At,
    changed,
    check,
    criterion,
    in_solution,
    method,
    run_of,
    sample,
    solid,
    standards,
)

RATIO = criterion(Role.REFERENCE_MATERIAL, Measure.ERROR_RATIO, None, 1.0, Reach.BATCH)
UNSPIKED = criterion(Role.INTERFERENCE_CHECK, Measure.TIMES_QUANTIFICATION_LIMIT, None, 1.0, Reach.RUN)
SPIKED = criterion(Role.INTERFERENCE_CHECK, Measure.RECOVERY, 80.0, 120.0, Reach.RUN)
RANGE = criterion(Role.LINEAR_RANGE_CHECK, Measure.RECOVERY, 90.0, 110.0, Reach.RUN)


def certified(found: float, value: float = 500.0, u: float | None = 8.0, unit: str = "mg/kg") -> At:
    """Return a reference material that gives `found` mg/L, 1 mg/L being 100 mg/kg."""
    at = sample("R", role=Role.REFERENCE_MATERIAL, Cu=found)
    return changed(at, expected={"Cu": Expected(value, unit, u)})


def judged(at: At, **changes: object) -> ControlOutcome:
    run = run_of(*standards(Cu=10.0), at, sample("A", Cu=1.0))
    return evaluate(run, method(RATIO, **changes)).outcomes[0]


@pytest.mark.parametrize(
    ("found", "certified_", "u_found", "u_certified", "k", "ratio"),
    [
        # |Δ| / (k √(u² + u²)), T. Linsinger, ERM Application Note 1 (2010), from memory; the numbers are constructed
        (105.0, 100.0, 3.0, 4.0, 2.0, 0.5),
        (90.0, 100.0, 3.0, 4.0, 2.0, 1.0),
        (100.0, 100.0, 3.0, 0.0, 2.0, 0.0),
        (105.0, 100.0, 0.0, 0.0, 2.0, None),
    ],
)
def test_a_difference_is_compared_with_its_expanded_uncertainty(
    found: float, certified_: float, u_found: float, u_certified: float, k: float, ratio: float | None
) -> None:
    assert error_ratio(found, certified_, u_found, u_certified, k) == ratio


@pytest.mark.parametrize(
    ("found", "verdict"),
    # u of the result: √(0.5² + (3 % of 450)²) = 13.51; with u = 8 and k = 2: U of the difference 31.40 mg/kg
    [(5.0, Verdict.WITHIN), (4.69, Verdict.CLOSE), (4.67, Verdict.OUTSIDE)],
)
def test_a_reference_material_is_judged_with_both_uncertainties(found: float, verdict: Verdict) -> None:
    outcome = judged(certified(found))
    u_found = (0.5**2 + (0.03 * 100 * found) ** 2) ** 0.5
    assert outcome.observed == pytest.approx(abs(100 * found - 500) / (2 * (u_found**2 + 8.0**2) ** 0.5))
    assert outcome.verdict is verdict
    assert "certified 500 ± 16 mg/kg (k = 2)" in outcome.why
    assert outcome.touches == ((6,) if verdict is Verdict.OUTSIDE else ())


def test_the_certified_value_may_be_in_another_unit() -> None:
    in_percent = judged(certified(4.8, value=0.05, u=0.0008, unit="%"))
    assert in_percent.observed == pytest.approx(judged(certified(4.8)).observed)


def test_a_combined_uncertainty_counts_as_the_results_own() -> None:
    # given a method whose uncertainty is combined from its sources, most of it a bias of 20 %
    line = replace(CU, u_bias=0.2)
    run = run_of(*standards(Cu=10.0), certified(4.0), lines=(line,))
    specification = method(RATIO, lines=(line,), uncertainty_rule=UncertaintyRule.BUDGET, rules=2)
    # when
    evaluation = evaluate(run, specification)
    (outcome,), (result,) = evaluation.outcomes, evaluation.results
    # then the 100 mg/kg that are missing lie within it, by the result's own u
    assert outcome.observed == pytest.approx(100.0 / (2 * (result.u**2 + 8.0**2) ** 0.5))
    assert outcome.verdict is Verdict.WITHIN


@pytest.mark.parametrize(
    ("at", "words"),
    [
        (certified(4.8, u=None), "has no uncertainty: enter it with the lot, or judge the recovery"),
        (sample("R", role=Role.REFERENCE_MATERIAL, Cu=4.8), "has no certified value of Cu"),
        (certified(12.0), "over the working range"),
    ],
)
def test_without_its_uncertainty_a_certified_value_is_not_judged(at: At, words: str) -> None:
    outcome = judged(at)
    assert (outcome.verdict, outcome.observed) == (Verdict.NOT_JUDGED, None)
    assert words in outcome.why


def interference_check(cu: float, fe: float, *, holds: dict[str, float]) -> list[ControlOutcome]:
    """Return the outcomes of a check that is made up with `holds` and gives so much copper and iron, mg/L."""
    at = At(changed(check("ICS", role=Role.INTERFERENCE_CHECK, cu=cu), expected=in_solution(**holds)).position, {})
    run = run_of(*standards(Cu=10.0, Fe=100.0), At(at.position, {"Cu": cu, "Fe": fe}), lines=(CU, FE))
    return list(evaluate(run, method(UNSPIKED, SPIKED, lines=(CU, FE))).outcomes)


@pytest.mark.parametrize(
    ("cu", "verdict"), [(0.029, Verdict.CLOSE), (0.031, Verdict.OUTSIDE), (-0.036, Verdict.OUTSIDE)]
)
def test_what_an_interference_check_does_not_hold_is_counted_in_limits(cu: float, verdict: Verdict) -> None:
    # EPA 6010D, 9.9: too much taken away counts like an interference that is left
    unspiked, spiked = interference_check(cu, 98.0, holds={"Fe": 100.0})
    assert (unspiked.line, unspiked.measure, unspiked.verdict) == (CU.key, UNSPIKED.measure, verdict)
    assert unspiked.observed == pytest.approx(abs(cu) / 0.03)
    assert (spiked.line, spiked.measure, spiked.observed) == (FE.key, SPIKED.measure, pytest.approx(98.0))


def test_what_an_interference_check_holds_is_judged_by_its_recovery_alone() -> None:
    outcomes = interference_check(5.0, 98.0, holds={"Fe": 100.0, "Cu": 5.0})
    assert [(o.line, o.measure) for o in outcomes] == [(CU.key, Measure.RECOVERY), (FE.key, Measure.RECOVERY)]


def test_an_interferent_far_above_its_range_fails_nothing_but_says_nothing() -> None:
    _, iron = interference_check(0.0, 500.0, holds={"Fe": 500.0})
    assert (iron.verdict, iron.touches) == (Verdict.NOT_JUDGED, ())
    assert "over the working range" in iron.why


def test_a_correction_that_leaves_too_much_fails_the_interference_check() -> None:
    # given iron that pretends 0.001 of it as copper, and a method that corrects half of that
    line = replace(CU, interferences=(Interference("Fe", 0.0005),))
    at = At(changed(check("ICS", role=Role.INTERFERENCE_CHECK, cu=0.0), expected=in_solution(Fe=80.0)).position, {})
    run = run_of(
        *standards(Cu=10.0, Fe=100.0), At(at.position, {"Cu": 0.08, "Fe": 80.0}), sample("A", Cu=1.0), lines=(line, FE)
    )
    outcome = evaluate(run, method(UNSPIKED, lines=(line, FE))).outcomes[0]
    assert outcome.observed == pytest.approx(0.04 / 0.03)
    assert (outcome.verdict, outcome.touches) == (Verdict.OUTSIDE, (6,))


@pytest.mark.parametrize(("holds", "touched"), [(18.5, ()), (17.0, (6,))])
def test_a_failed_linear_range_check_speaks_for_what_was_read_above_the_standards(
    holds: float, touched: tuple[int, ...]
) -> None:
    # given standards up to 10 mg/L, and a working range up to 20 that the check is to show (EPA 6010D, 9.6)
    line = replace(CU, range_top=20.0)
    at = check("LR", role=Role.LINEAR_RANGE_CHECK, true=20.0, cu=holds)
    run = run_of(*standards(Cu=10.0), at, sample("A", Cu=15.0), sample("B", Cu=5.0), lines=(line,))
    evaluation = evaluate(run, method(RANGE, lines=(line,)))
    (outcome,) = evaluation.outcomes
    assert outcome.observed == pytest.approx(holds / 0.2)
    assert outcome.touches == touched
    assert {r.position for r in evaluation.results if Mark.CONTROL_FAILED in r.marks} == set(touched)


def test_a_linear_range_check_is_not_asked_for_what_it_is_not_made_of() -> None:
    at = check("LR", role=Role.LINEAR_RANGE_CHECK, true=10.0, cu=10.0)
    run = run_of(*standards(Cu=10.0, Fe=100.0), at, lines=(CU, FE))
    assert [o.line for o in evaluate(run, method(RANGE, lines=(CU, FE))).outcomes] == [CU.key]


def test_checks_are_judged_on_what_was_read_and_not_on_what_the_drift_correction_makes_of_it() -> None:
    # given a plasma that reads 20 % high at the second check, and a method that corrects drifts up to 50 %
    run = run_of(*standards(Cu=10.0), check("V1", cu=5.0), sample("A", Cu=1.1), check("V2", cu=6.0))
    drifting = method(CONTINUING, drift_rule=DriftRule.BY_POSITION, drift_limit_percent=50.0, rules=2)
    evaluation = evaluate(run, drifting)
    # then the sample between them is corrected, and the check has failed all the same
    assert evaluation.concentration[5, 0] == pytest.approx(1.0)
    assert [(o.observed, o.verdict) for o in evaluation.outcomes] == [
        (pytest.approx(100.0), Verdict.WITHIN),
        (pytest.approx(120.0), Verdict.OUTSIDE),
    ]


@pytest.mark.parametrize(("rules", "found"), [(1, None), (2, pytest.approx(4.8))])
def test_what_was_found_in_the_solution_goes_on_record_beside_the_verdict(rules: int, found: object) -> None:
    assert judged(certified(4.8), rules=rules).found == found


def test_a_material_without_a_portion_is_compared_as_the_solution_that_it_is() -> None:
    at = At(replace(certified(4.8).position, portion=None, expected={"Cu": Expected(5.0, "mg/L", 0.1)}), {"Cu": 4.8})
    u_found = (0.005**2 + (0.03 * 4.8) ** 2) ** 0.5
    assert judged(at).observed == pytest.approx(0.2 / (2 * (u_found**2 + 0.1**2) ** 0.5))


def test_the_batch_of_the_reference_material_is_touched_and_no_other() -> None:
    far = certified(3.0)
    others = [sample("A", solid("A", batch="B2"), Cu=1.0), sample("B", Cu=1.0)]
    run = run_of(*standards(Cu=10.0), far, *others)
    assert evaluate(run, method(RATIO)).outcomes[0].touches == (7,)
