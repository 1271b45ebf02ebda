"""Readings judged themselves: the spread of their replicates, and the internal standard at each position."""

from dataclasses import replace

import numpy as np
import pytest

from labresults.calculation.control_samples import judge_control_samples
from labresults.calculation.evaluation import evaluate
from labresults.calculation.run import Evaluation, RunTable
from labresults.calculation.solutions import find_solutions
from labresults.terms import Mark, Measure, Reach, Role, Verdict
from tests.calculation.builders import (
    CONTINUING,
    CU,
    FE,
    INTERCEPT,
    SLOPE,
    changed,
    check,
    criterion,
    method,
    run_of,
    sample,
    standards,
)

SPREAD = replace(criterion(Role.SAMPLE, Measure.SPREAD, None, 5.0, Reach.SAMPLE), least_times=10.0)
YTTRIUM = replace(CU, key="Y 371.029", element="Y")
WINDOW = criterion(Role.SAMPLE, Measure.INTERNAL_STANDARD, 70.0, 130.0, Reach.SAMPLE)


def spreading(percent: float, holds: float) -> RunTable:
    """Return a run of copper and iron whose sample at position 5 reads with so much spread at copper."""
    run = run_of(*standards(Cu=10.0, Fe=100.0), sample("A", Cu=holds, Fe=50.0), sample("B", Cu=1.0), lines=(CU, FE))
    run.spread[4, 0] = run.signal[4, 0] * percent / 100.0
    return run


@pytest.mark.parametrize(
    ("percent", "holds", "verdict"),
    [
        (4.9, 1.0, None),
        (5.0, 1.0, None),
        (5.001, 1.0, Verdict.OUTSIDE),
        (40.0, 0.2999, None),
        (40.0, 0.3001, Verdict.OUTSIDE),
    ],
    ids=["inside", "at the bound", "outside", "below ten limits", "from ten limits on"],
)
def test_only_a_spread_that_is_outside_is_an_outcome(percent: float, holds: float, verdict: Verdict | None) -> None:
    evaluation = evaluate(spreading(percent, holds), method(SPREAD, lines=(CU, FE)))
    assert [outcome.verdict for outcome in evaluation.outcomes] == ([verdict] if verdict else [])
    marked = [(r.position, r.line) for r in evaluation.results if Mark.CONTROL_FAILED in r.marks]
    assert marked == ([(5, CU.key)] if verdict else [])


def test_every_spread_that_was_judged_is_counted() -> None:
    # given two samples: copper of both, iron of the first alone are above ten quantification limits
    evaluation = evaluate(spreading(1.0, 1.0), method(SPREAD, lines=(CU, FE)))
    assert evaluation.counted == {Measure.SPREAD: 3}
    assert evaluate(spreading(1.0, 1.0), method(CONTINUING, lines=(CU, FE))).counted == {}


def test_a_spread_is_told_with_its_numbers() -> None:
    (outcome,) = evaluate(spreading(8.0, 1.0), method(SPREAD, lines=(CU, FE), rules=2)).outcomes
    assert outcome.observed == pytest.approx(8.0)
    assert outcome.why == (
        "Cu 324.754 1050 counts/s, standard deviation of 3 replicates 84, spread: 8 %, allowed at most 5 %: outside."
    )
    assert (outcome.touches, outcome.found) == ((5,), pytest.approx(1.0))


def test_an_element_may_spread_more_by_a_criterion_of_its_own() -> None:
    wider = replace(SPREAD, key="copper", element="Cu", high=50.0)
    assert evaluate(spreading(40.0, 1.0), method(SPREAD, wider, lines=(CU, FE))).outcomes == ()


@pytest.mark.parametrize("role", [Role.DUPLICATE, Role.SPIKE])
def test_a_reading_speaks_for_itself_and_not_for_its_parent(role: Role) -> None:
    run = run_of(*standards(Cu=10.0), sample("A", Cu=1.0), changed(sample("D", role=role, Cu=1.0), parent=5))
    run.spread[5, 0] = 200.0
    assert evaluate(run, method(replace(SPREAD, role=role))).outcomes[0].touches == (6,)


@pytest.mark.parametrize("gone", ["saturated", "not read", "one replicate"])
def test_a_reading_without_a_spread_is_not_counted(gone: str) -> None:
    run = run_of(*standards(Cu=10.0), sample("A", Cu=1.0), sample("B", Cu=1.0))
    run.saturated[4, 0] = gone == "saturated"
    run.signal[4, 0] = np.nan if gone == "not read" else run.signal[4, 0]
    run.spread[4, 0] = np.nan if gone == "one replicate" else 500.0
    evaluation = evaluate(run, method(SPREAD))
    assert (evaluation.outcomes, evaluation.counted) == ((), {Measure.SPREAD: 1})


def internal(*recoveries: float, **changes: object) -> Evaluation:
    """Evaluate samples whose tubes hold so much of the internal standard, % of the calibration solutions."""
    places = [*standards(Cu=10.0, Fe=100.0), *(sample(f"S{at}", Cu=1.0, Fe=1.0) for at in range(len(recoveries)))]
    share = np.array([1.0] * 4 + [recovery / 100.0 for recovery in recoveries])
    signal = np.array([[INTERCEPT + SLOPE * at.holds[e] for e in ("Cu", "Fe")] + [5000.0] for at in places])
    run = run_of(*places, lines=(CU, FE, YTTRIUM), signal=signal * share[:, None])
    specification = method(
        WINDOW,
        lines=(CU, FE, YTTRIUM),
        internal_standard=YTTRIUM.key,
        determinations=method(lines=(CU, FE)).determinations,
    )
    return evaluate(run, replace(specification, **changes))  # type: ignore[arg-type]


def test_the_internal_standard_is_judged_at_every_position_of_its_role() -> None:
    evaluation = internal(100.0, 70.0, 69.0, 131.0)
    assert [(o.position, o.line, o.observed, o.verdict) for o in evaluation.outcomes] == [
        (5, YTTRIUM.key, pytest.approx(100.0), Verdict.WITHIN),
        (6, YTTRIUM.key, pytest.approx(70.0), Verdict.CLOSE),
        (7, YTTRIUM.key, pytest.approx(69.0), Verdict.OUTSIDE),
        (8, YTTRIUM.key, pytest.approx(131.0), Verdict.OUTSIDE),
    ]
    assert evaluation.outcomes[2].why == (
        "Internal standard Y 371.029 3450 counts/s, of the mean of the calibration solutions: 69 %, "
        "allowed 70 to 130 %: outside."
    )


def test_a_failed_internal_standard_touches_every_line_of_its_position() -> None:
    evaluation = internal(100.0, 60.0)
    assert evaluation.outcomes[1].touches == (6,)
    marked = {(r.position, r.line) for r in evaluation.results if Mark.CONTROL_FAILED in r.marks}
    assert marked == {(6, CU.key), (6, FE.key)}
    # and the ratio mends the values, which is why a person may accept them by name
    assert [r.value for r in evaluation.results if r.position == 6] == [pytest.approx(100.0)] * 2


@pytest.mark.parametrize(
    ("recovery", "saturated", "verdict", "words"),
    [
        (0.0, False, Verdict.OUTSIDE, ": 0 %, allowed 70 to 130 %"),
        (float("nan"), False, Verdict.NOT_JUDGED, "was not read"),
        (100.0, True, Verdict.OUTSIDE, "saturated at the internal standard"),
    ],
    ids=["dead", "not read", "saturated"],
)
def test_a_dead_internal_standard_is_seen(recovery: float, saturated: bool, verdict: Verdict, words: str) -> None:
    places = [*standards(Cu=10.0), sample("A", Cu=1.0)]
    signal = np.array([[INTERCEPT + SLOPE * at.holds["Cu"], 5000.0] for at in places])
    signal[4, 1] *= recovery / 100.0
    run = run_of(*places, lines=(CU, YTTRIUM), signal=signal)
    run.saturated[4, 1] = saturated
    specification = method(WINDOW, lines=(CU, YTTRIUM), internal_standard=YTTRIUM.key)
    evaluation = evaluate(run, replace(specification, determinations=specification.determinations[:1]))
    (outcome,) = evaluation.outcomes
    assert outcome.verdict is verdict
    assert words in outcome.why
    assert [r.value for r in evaluation.results] == [None]


@pytest.mark.parametrize(
    ("spread", "verdict"), [(500.0, Verdict.WITHIN), (501.0, Verdict.OUTSIDE)], ids=["ten times", "less than ten times"]
)
def test_an_internal_standard_that_is_dead_from_the_start_is_told_by_its_noise(spread: float, verdict: Verdict) -> None:
    # given an internal standard that reads 5000 counts/s everywhere: every recovery is 100 %
    places = [*standards(Cu=10.0), sample("A", Cu=1.0)]
    signal = np.array([[INTERCEPT + SLOPE * at.holds["Cu"], 5000.0] for at in places])
    run = run_of(*places, lines=(CU, YTTRIUM), signal=signal)
    run.spread[:4, 1] = spread
    specification = method(WINDOW, lines=(CU, YTTRIUM), internal_standard=YTTRIUM.key)
    # then the spread of its replicates in the calibration solutions says whether it is there
    (outcome,) = evaluate(run, replace(specification, determinations=specification.determinations[:1])).outcomes
    assert (outcome.verdict, outcome.observed is None) == (verdict, verdict is Verdict.OUTSIDE)
    if verdict is Verdict.OUTSIDE:
        assert "cannot be told from noise: the calibration solutions read 5000 counts/s" in outcome.why
        assert outcome.touches == (5,)


def test_a_check_whose_internal_standard_is_off_speaks_for_its_bracket() -> None:
    # given checks at 5, 8 and 11 with samples between, the middle one with half of the internal standard
    places = [*standards(Cu=10.0), check("V1", cu=5.0), sample("A", Cu=1.0), sample("B", Cu=1.0), check("V2", cu=5.0)]
    places += [sample("C", Cu=1.0), sample("D", Cu=1.0), check("V3", cu=5.0), sample("E", Cu=1.0)]
    signal = np.array([[INTERCEPT + SLOPE * at.holds["Cu"], 5000.0] for at in places])
    signal[7] *= 0.5
    run = run_of(*places, lines=(CU, YTTRIUM), signal=signal)
    window = replace(WINDOW, role=Role.CONTINUING_VERIFICATION, reach=Reach.BRACKET)
    specification = method(window, lines=(CU, YTTRIUM), internal_standard=YTTRIUM.key)
    outcomes = evaluate(run, replace(specification, determinations=specification.determinations[:1])).outcomes
    assert [(o.position, o.touches) for o in outcomes] == [(5, ()), (8, (6, 7, 9, 10)), (11, ())]


def test_a_method_without_an_internal_standard_judges_none() -> None:
    run = run_of(*standards(Cu=10.0), sample("A", Cu=1.0))
    assert evaluate(run, method(WINDOW)).outcomes == ()


def test_outcomes_stand_in_the_order_of_measurement_whatever_they_are_of() -> None:
    places = [*standards(Cu=10.0), sample("A", Cu=1.0), check("V1", cu=5.0), sample("B", Cu=1.0), check("V2", cu=5.0)]
    run = run_of(*places)
    run.spread[[4, 6], 0] = 500.0
    read_back = criterion(Role.CALIBRATION_STANDARD, Measure.READ_BACK, None, 5.0, Reach.RUN)
    solutions = find_solutions(run, method(CONTINUING, SPREAD, read_back))
    assert [o.position for o in judge_control_samples(solutions).outcomes] == [2, 3, 4, 5, 6, 7, 8]
