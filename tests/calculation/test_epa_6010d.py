"""The numbers of EPA Method 6010D, revision 5 (2018), as the set of criteria ships them: at, inside and outside."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from labresults.calculation.evaluation import evaluate
from labresults.calculation.run import ControlOutcome, Criterion, Expected, RunTable
from labresults.terms import Measure, Reach, Role, Verdict
from reports.demo.data import criteria_of
from tests.calculation.builders import CU, At, changed, check, in_solution, method, run_of, sample, solid
from tests.calculation.published import published

STATED = {(row["method"], row["check"]): row for row in published("quality_control")["criteria"]}

FROM_THE_METHOD = [
    ("curve, correlation", "initial calibration curve", "r_min", None),
    ("curve, standard error", "initial calibration curve", None, "rse_max_percent"),
    ("initial verification", "initial calibration verification (second source, mid level)", 90.0, 110.0),
    ("low-level check", "low-level readback", 80.0, 120.0),
    ("curve, mid-level read-back", "mid-level readback", None, 10.0),
    ("blank check, as the initial one", "initial calibration blank", None, "0.5 LLOQ"),
    ("continuing verification", "continuing calibration verification", 90.0, 110.0),
    ("blank check", "continuing calibration blank", None, "LLOQ"),
    ("linear range check", "linear range standard", 90.0, 110.0),
    ("method blank", "method blank", None, "0.5 LLOQ"),
    ("control sample", "laboratory control sample", 80.0, 120.0),
    ("spike", "matrix spike / duplicate", 75.0, 125.0),
    ("duplicate", "matrix spike / duplicate", None, "rpd_max_percent"),
    ("duplicate, absolute near the limit", "matrix spike / duplicate", None, "rpd_max_percent"),
    ("interference check, one element", "spectral interference check, single element", None, "2 x LLOQ"),
    ("interference check, mixed", "spectral interference check, mixed", None, "LLOQ"),
    ("serial dilution", "dilution test 1:5", None, "difference_max_percent"),
    ("post-digestion spike", "post-digestion spike", 75.0, 125.0),
]
"""Name in the set, check of the method, and its bounds: numbers, names of the stated limit, or its words."""

NOT_JUDGED_IN_A_RUN = {
    "LLOQ verification, initial": "validation of at least seven samples, not a control sample of a run",
    "instrument detection limit": "a limit that is estimated (calculation/detection.py)",
    "internal standard": "the method names no number",
    "percent solids": "a drying (calculation/mass_loss.py)",
}


def of_the_set(name: str) -> Criterion:
    """Return a criterion of the set by its name; of several roles the first."""
    entered = criteria_of({"epa-6010d": [name]})[0]
    own = {key: value for key, value in entered.items() if key not in ("role", "measure", "reach", "source")}
    words = {"role": Role(entered["role"]), "measure": Measure(entered["measure"]), "reach": Reach(entered["reach"])}
    return Criterion(**({"key": name, "low": None, "high": None} | words | own))


def stated(check_: str, bound: float | str | None) -> float | None:
    """Return a bound of the method as a number, in quantification limits where it is one of them."""
    limit = STATED["EPA 6010D", check_]["limit"]
    if isinstance(bound, str) and bound in limit:
        return float(limit[bound])
    if isinstance(bound, str):
        words = {str(value).removesuffix(" for every unspiked analyte") for value in limit.values()}
        assert bound in words
        return float(bound.removesuffix("LLOQ").rstrip(" x") or 1)
    return bound


@pytest.mark.parametrize(("name", "check_", "low", "high"), FROM_THE_METHOD, ids=[row[0] for row in FROM_THE_METHOD])
def test_the_set_has_the_methods_own_numbers(
    name: str, check_: str, low: float | str | None, high: float | str | None
) -> None:
    entered = of_the_set(name)
    row = STATED["EPA 6010D", check_]
    window = row["limit"].get("recovery_percent")
    if window and "difference" not in entered.measure:
        assert [low or 100.0 - float(high or 0), high if low else 100.0 + float(high or 0)] == window
    assert (entered.low, entered.high) == (stated(check_, low), stated(check_, high))
    assert f"EPA 6010D (2018), {row['section'].partition(' /')[0]}" in criteria_of({"epa-6010d": [name]})[0]["source"]


def test_every_numeric_criterion_of_the_method_is_in_the_set_or_is_no_matter_of_a_run() -> None:
    numbered = {check_ for method_, check_ in STATED if method_ == "EPA 6010D"}
    assert numbered == {row[1] for row in FROM_THE_METHOD} | set(NOT_JUDGED_IN_A_RUN)


LIMIT = CU.quantification_limit
DUPLICATE_MEAN = 1.0


def verification(role: Role) -> Callable[[float], list[At]]:
    """Return what plans a check made up to 5 mg/L that recovers so much."""
    return lambda percent: [check("V", role=role, cu=5.0 * percent / 100.0)]


def blank(role: Role, portion: bool = False) -> Callable[[float], list[At]]:
    """Return what plans a blank that holds so many quantification limits."""
    at = sample("B", role=role) if portion else changed(check("B", role=role, cu=0.0), expected={})
    return lambda times: [At(at.position, {"Cu": times * LIMIT})]


def prepared(role: Role, expected: Expected) -> Callable[[float], list[At]]:
    """Return what plans a prepared material, 1 mg/L in the solution being 100 mg/kg."""
    content = expected.value if expected.unit == "mg/L" else expected.value / 100.0
    return lambda percent: [changed(sample("R", role=role, Cu=content * percent / 100.0), expected={"Cu": expected})]


def duplicate(percent: float) -> list[At]:
    """Plan a pair whose contents differ by so much of their mean."""
    half = DUPLICATE_MEAN * percent / 200.0
    second = sample("A dup", role=Role.DUPLICATE, Cu=DUPLICATE_MEAN + half)
    return [sample("A", Cu=DUPLICATE_MEAN - half), changed(second, parent=1)]


def spike(percent: float) -> list[At]:
    """Plan a sample of 0.55 mg/L and its spike with 2.00 mg/L."""
    portion = solid("A spike", added_mg={"Cu": 0.1})
    second = sample("A spike", portion, role=Role.SPIKE, Cu=0.55 + 2.0 * percent / 100.0)
    return [sample("A", Cu=0.55), changed(second, parent=1)]


def spike_of_the_digest(percent: float) -> list[At]:
    """Plan the same, added at the instrument."""
    second = sample("A pds", role=Role.POST_DIGESTION_SPIKE, Cu=0.55 + 2.0 * percent / 100.0)
    return [sample("A", Cu=0.55), changed(second, parent=1, added={"Cu": 2.0})]


def dilution(percent: float) -> list[At]:
    """Plan a sample of 4.8 mg/L, and the same five times diluted that gives so much less."""
    second = sample("A 5x", role=Role.SERIAL_DILUTION, Cu=4.8 * (1.0 - percent / 100.0) / 5.0)
    return [sample("A", Cu=4.8), changed(second, parent=1, dilution=5.0)]


PLANNED: Mapping[str, Callable[[float], list[At]]] = {
    "initial verification": verification(Role.INITIAL_VERIFICATION),
    "low-level check": verification(Role.LOW_LEVEL_CHECK),
    "continuing verification": verification(Role.CONTINUING_VERIFICATION),
    "linear range check": verification(Role.LINEAR_RANGE_CHECK),
    "interference check, recovery": verification(Role.INTERFERENCE_CHECK),
    "blank check": blank(Role.BLANK_CHECK),
    "blank check, as the initial one": blank(Role.BLANK_CHECK),
    "interference check, one element": blank(Role.INTERFERENCE_CHECK),
    "interference check, mixed": blank(Role.INTERFERENCE_CHECK),
    "method blank": blank(Role.METHOD_BLANK, portion=True),
    "control sample": prepared(Role.CONTROL_SAMPLE, Expected(5.0, "mg/L")),
    "reference material": prepared(Role.REFERENCE_MATERIAL, Expected(500.0, "mg/kg")),
    "duplicate": duplicate,
    "duplicate, absolute near the limit": duplicate,
    "spike": spike,
    "serial dilution": dilution,
    "post-digestion spike": spike_of_the_digest,
}

BOUNDS = [
    (name, bound, side)
    for name in PLANNED
    for bound, side in ((of_the_set(name).low, -1.0), (of_the_set(name).high, 1.0))
    if bound is not None
]


def judged(name: str, observed: float) -> ControlOutcome:
    """Return how the set judges a control sample that gives exactly so much: concentrations are read as they are."""
    places = PLANNED[name](observed)
    signal = np.array([[at.holds.get("Cu", 0.0)] for at in places])
    run = run_of(*places, signal=signal)
    return evaluate(run, method(of_the_set(name), instrument_calibrates=True)).outcomes[-1]


@pytest.mark.parametrize(("name", "bound", "side"), BOUNDS)
@pytest.mark.parametrize(
    ("beyond", "holds"), [(0.0, True), (-1e-6, True), (1e-6, False)], ids=["at", "just inside", "just outside"]
)
def test_a_bound_is_included_and_nothing_is_rounded_before_it(
    name: str, bound: float, side: float, beyond: float, holds: bool
) -> None:
    outcome = judged(name, bound * (1.0 + side * beyond))
    assert outcome.observed == pytest.approx(bound, rel=2e-6)
    assert (outcome.verdict is not Verdict.OUTSIDE) is holds
    assert outcome.verdict is not Verdict.NOT_JUDGED


def curve_of(case: Mapping[str, Any]) -> RunTable:
    """Return the run of a worked calibration: its standards and nothing else."""
    given = case["inputs"]
    places = [
        changed(check(f"std {x}", role=Role.CALIBRATION_STANDARD, true=x, cu=x), expected=in_solution(Cu=x))
        for x in given["conc"]
    ]
    return run_of(*places, signal=np.array([[y] for y in given["signal"]]))


@pytest.mark.parametrize(
    ("name", "weighting"),
    [("relative standard error, 1/x weighted line", "1/x"), ("same data, unweighted", "unweighted")],
)
def test_a_good_correlation_hides_what_the_standard_error_shows(name: str, weighting: str) -> None:
    case = published("quality_control")["cases"][name]
    line = replace(CU, weighting=type(CU.weighting)(weighting), quantification_limit=0.01, detection_limit=0.003)
    criteria = [of_the_set("curve, correlation"), of_the_set("curve, standard error")]
    outcomes = evaluate(curve_of(case), method(*criteria, lines=(line,), rules=2)).outcomes
    of_r, of_error = sorted(outcomes, key=lambda outcome: outcome.measure)
    # r holds in both, the relative standard error (10.7) only where the low standards weigh what they should
    assert of_r.verdict is Verdict.WITHIN
    assert of_error.observed == pytest.approx(case["expected"]["rse_percent"], abs=5e-5)
    assert (of_error.verdict is not Verdict.OUTSIDE) is case["expected"]["ok"]
    assert {of_r.position, of_error.position} == {5}  # at the highest standard


@pytest.mark.parametrize("measure", ["curve, correlation", "curve, standard error", "curve, mid-level read-back"])
@pytest.mark.parametrize(("share", "holds"), [(0.0, True), (1e-6, True), (-1e-6, False)])
def test_bounds_of_a_curve_are_included(measure: str, share: float, holds: bool) -> None:
    # given the curve of a worked case, and a bound that it just meets, or misses by a millionth
    run = curve_of(published("quality_control")["cases"]["same data, unweighted"])
    criterion = replace(of_the_set(measure), least_times=None)
    seen = max(evaluate(run, method(criterion, rules=2)).outcomes, key=lambda outcome: outcome.observed or 0.0)
    assert seen.observed is not None
    at = seen.observed * (1.0 + (share if criterion.low is None else -share))
    moved = replace(criterion, low=None if criterion.low is None else at, high=None if criterion.high is None else at)
    # when
    outcome = next(o for o in evaluate(run, method(moved, rules=2)).outcomes if o.position == seen.position)
    # then
    assert (outcome.verdict is not Verdict.OUTSIDE) is holds


def test_the_lowest_standards_are_the_low_level_checks_matter() -> None:
    run = curve_of(published("quality_control")["cases"]["same data, unweighted"])
    line = replace(CU, quantification_limit=0.02)
    outcomes = evaluate(run, method(of_the_set("curve, mid-level read-back"), lines=(line,))).outcomes
    assert [outcome.position for outcome in outcomes] == [3, 4, 5]  # from 0.2 mg/L on
