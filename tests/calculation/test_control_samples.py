"""Control samples judged in a run, and what a failure touches."""

from dataclasses import replace

import numpy as np
import pytest

from labresults.calculation.evaluation import evaluate
from labresults.calculation.run import ControlOutcome, Criterion, Expected
from labresults.terms import Basis, Mark, Measure, Reach, Role, Verdict
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
    outcome_at,
    result_at,
    run_of,
    sample,
    solid,
    standards,
)

BLANK = replace(
    criterion(Role.METHOD_BLANK, Measure.TIMES_QUANTIFICATION_LIMIT, None, 0.5, Reach.BATCH), spares_times_blank=10.0
)
DUPLICATE = criterion(Role.DUPLICATE, Measure.DIFFERENCE, None, 20.0, Reach.SAMPLE)
SPIKE = criterion(Role.SPIKE, Measure.SPIKE_RECOVERY, 75.0, 125.0, Reach.SAMPLE)
SERIAL = criterion(Role.SERIAL_DILUTION, Measure.DILUTION_DIFFERENCE, None, 20.0, Reach.SAMPLE)
REFERENCE = criterion(Role.REFERENCE_MATERIAL, Measure.RECOVERY, 80.0, 120.0, Reach.BATCH)
CONTROL = criterion(Role.CONTROL_SAMPLE, Measure.RECOVERY, 80.0, 120.0, Reach.BATCH)


def judged(criterion_: Criterion, *places: At) -> tuple[ControlOutcome, ...]:
    """Return the outcomes of a run of copper: standards at 1 to 4, then the places from position 5 on."""
    return evaluate(run_of(*standards(Cu=10.0), *places), method(criterion_)).outcomes


@pytest.mark.parametrize(
    ("cu", "verdict"),
    [
        (5.0, Verdict.WITHIN),
        (5.48, Verdict.CLOSE),
        (5.499, Verdict.CLOSE),
        (5.51, Verdict.OUTSIDE),
        (4.4, Verdict.OUTSIDE),
    ],
)
def test_a_verification_is_judged_by_its_recovery(cu: float, verdict: Verdict) -> None:
    (outcome,) = judged(CONTINUING, check("V", cu=cu))
    assert outcome.verdict is verdict
    assert outcome.observed == pytest.approx(20.0 * cu)
    assert outcome.expected == 5.0
    assert outcome.why.startswith(f"Cu 324.754 found {cu:g} mg/L of 5 mg/L")
    assert outcome.why.endswith(f"allowed 90 to 110 %: {verdict.value}.")


def test_a_check_in_another_unit_is_converted() -> None:
    at = changed(check("V", cu=5.0), expected={"Cu": Expected(5000.0, "ug/L")})
    (outcome,) = judged(CONTINUING, at)
    assert outcome.observed == pytest.approx(100.0)


def test_an_element_has_its_own_criterion() -> None:
    # given a wider criterion for iron beside the general one
    wider = replace(CONTINUING, key="iron", element="Fe", low=50.0, high=150.0)
    at = At(changed(check("V", cu=5.0), expected=in_solution(Cu=5.0, Fe=50.0)).position, {"Cu": 6.0, "Fe": 60.0})
    run = run_of(*standards(Cu=10.0, Fe=100.0), at, lines=(CU, FE))
    # when
    outcomes = evaluate(run, method(CONTINUING, wider, lines=(CU, FE))).outcomes
    # then copper fails and iron holds
    assert [(each.criterion, each.verdict) for each in outcomes] == [
        (CONTINUING.key, Verdict.OUTSIDE),
        ("iron", Verdict.WITHIN),
    ]


def test_an_element_that_the_check_lacks_is_not_judged() -> None:
    run = run_of(*standards(Cu=10.0, Fe=100.0), check("V", cu=5.0), lines=(CU, FE))
    outcome = outcome_at(evaluate(run, method(CONTINUING, lines=(CU, FE))), 5, FE.key)
    assert (outcome.verdict, outcome.observed) == (Verdict.NOT_JUDGED, None)
    assert "no expected value of Fe" in outcome.why


@pytest.mark.parametrize(("saturated", "verdict"), [(False, Verdict.NOT_JUDGED), (True, Verdict.OUTSIDE)])
def test_a_check_without_a_number_never_holds(saturated: bool, verdict: Verdict) -> None:
    # given a check that was not read, or saturated
    run = run_of(*standards(Cu=10.0), sample("A", Cu=1.0), check("V", cu=5.0))
    run.signal[5, 0] = np.nan
    run.saturated[5, 0] = saturated
    outcome = outcome_at(evaluate(run, method(CONTINUING)), 6)
    assert (outcome.verdict, outcome.observed) == (verdict, None)
    assert outcome.touches == ((5,) if saturated else ())


def bracketed(*checks: float) -> list[At]:
    """Return two samples, a check, two samples, a check, ...; the samples stand at 5, 6; 8, 9; 11, 12; ..."""
    places = []
    for index, cu in enumerate(checks):
        places += [sample(f"A{index}", Cu=1.0), sample(f"B{index}", Cu=1.0), check(f"V{index}", cu=cu)]
    return places


@pytest.mark.parametrize(
    ("checks", "failed", "touched"),
    [
        ((5.0, 6.0, 5.0), [10], [(8, 9, 11, 12)]),
        ((6.0, 5.0, 5.0), [7], [(5, 6, 8, 9)]),
        ((5.0, 5.0, 6.0), [13], [(11, 12)]),
        ((6.0, 6.0, 5.0), [7, 10], [(5, 6, 8, 9, 11, 12)] * 2),
        ((6.0,), [7], [(5, 6)]),
        ((5.0, 5.0), [], []),
    ],
    ids=["middle", "first", "last", "two in a row", "only one", "none"],
)
def test_a_failed_check_brackets_what_lies_between_those_that_held(
    checks: tuple[float, ...], failed: list[int], touched: list[tuple[int, ...]]
) -> None:
    # given checks between pairs of samples
    run = run_of(*standards(Cu=10.0), *bracketed(*checks))
    # when
    evaluation = evaluate(run, method(CONTINUING))
    # then the failed ones touch their brackets, and exactly those results are marked
    outside = [outcome for outcome in evaluation.outcomes if outcome.verdict is Verdict.OUTSIDE]
    assert [outcome.position for outcome in outside] == failed
    assert [outcome.touches for outcome in outside] == touched
    marked = {result.position for result in evaluation.results if Mark.CONTROL_FAILED in result.marks}
    assert marked == {number for numbers in touched for number in numbers}


def test_a_bracket_ends_with_its_block_and_stays_on_its_line() -> None:
    # given a check of copper that fails in the first of two blocks, while iron holds
    first = [*standards(Cu=10.0, Fe=100.0), sample("A", Cu=1.0, Fe=1.0)]
    failing = check("V", cu=6.0)
    failing = At(replace(failing.position, expected=in_solution(Cu=5.0, Fe=50.0)), {"Cu": 6.0, "Fe": 50.0})
    second = [changed(at, block=2) for at in first]
    run = run_of(*first, failing, *second, lines=(CU, FE))
    # when
    evaluation = evaluate(run, method(CONTINUING, lines=(CU, FE)))
    # then only copper of the first block is touched
    assert outcome_at(evaluation, 6, CU.key).touches == (5,)
    assert outcome_at(evaluation, 6, FE.key).touches == ()
    marked = [(r.position, r.line) for r in evaluation.results if Mark.CONTROL_FAILED in r.marks]
    assert marked == [(5, CU.key)]


def test_a_failure_that_reaches_the_run_touches_its_block() -> None:
    for_all = criterion(Role.INITIAL_VERIFICATION, Measure.RECOVERY, 90.0, 110.0, Reach.RUN)
    run = run_of(
        *standards(Cu=10.0),
        check("I", role=Role.INITIAL_VERIFICATION, cu=6.0),
        sample("A", Cu=1.0),
        changed(sample("B", Cu=1.0), block=2),
        sample("C", Cu=1.0),
    )
    assert outcome_at(evaluate(run, method(for_all)), 5).touches == (6, 8)


@pytest.mark.parametrize(
    ("blank", "holds", "touched"),
    [(0.006, 0.075, ()), (0.006, 0.042, (6,)), (0.006, 0.06, ()), (0.0149, 0.02, ()), (-0.02, 0.042, ())],
    ids=["exempt", "affected", "exactly ten times", "the blank holds", "below zero"],
)
def test_a_failed_method_blank_spares_what_is_ten_times_it(
    blank: float, holds: float, touched: tuple[int, ...]
) -> None:
    # given a quantification limit of 0.010 mg/L or, where the blank holds, of 0.030 (EPA 6010D, 9.7.1)
    limit = 0.03 if blank == 0.0149 else 0.01
    line = replace(CU, detection_limit=0.003, quantification_limit=limit)
    blank_at = sample("MB", role=Role.METHOD_BLANK, Cu=blank)
    run = run_of(*standards(Cu=10.0), blank_at, sample("A", Cu=holds), lines=(line,))
    # when
    outcome = outcome_at(evaluate(run, method(BLANK, lines=(line,))), 5)
    # then
    assert outcome.observed == pytest.approx(abs(blank) / limit)
    assert outcome.touches == touched


@pytest.mark.parametrize(("rules", "touched"), [(1, ()), (2, (6,))])
def test_a_method_blank_below_zero_spares_by_its_size(rules: int, touched: tuple[int, ...]) -> None:
    # given a blank of −0.02 mg/L, four times what is allowed, beside samples of 0.042 and 0.21 mg/L
    blank = sample("MB", role=Role.METHOD_BLANK, Cu=-0.02)
    run = run_of(*standards(Cu=10.0), blank, sample("A", Cu=0.042), sample("B", Cu=0.21))
    # then what took so much from it may have taken as much from a sample that holds less than ten times that
    outcome = outcome_at(evaluate(run, replace(method(BLANK), rules=rules)), 5)
    assert (outcome.verdict, outcome.touches) == (Verdict.OUTSIDE, touched)


def test_a_diluted_sample_is_spared_by_what_it_holds_undiluted() -> None:
    blank = sample("MB", role=Role.METHOD_BLANK, Cu=0.02)
    diluted = sample("A", solid("A", dilution=10.0), Cu=0.05)
    (outcome,) = judged(BLANK, blank, diluted)
    assert (outcome.verdict, outcome.touches) == (Verdict.OUTSIDE, ())


def test_a_batch_is_touched_and_no_other() -> None:
    # given a control sample of batch B2 that recovers 60 %
    control = sample("LCS", solid("LCS", batch="B2"), role=Role.CONTROL_SAMPLE, Cu=3.0)
    control = changed(control, expected=in_solution(Cu=5.0))
    outcomes = judged(CONTROL, control, sample("A", Cu=1.0), sample("B", solid("B", batch="B2"), Cu=1.0))
    assert [(each.observed, each.touches) for each in outcomes] == [(pytest.approx(60.0), (7,))]


@pytest.mark.parametrize(
    ("expected", "observed"),
    [(Expected(500.0, "mg/kg"), 96.0), (Expected(0.05, "%"), 96.0), (Expected(480.0, "g/t"), 100.0)],
)
def test_a_reference_material_is_compared_as_content(expected: Expected, observed: float) -> None:
    at = changed(sample("R", role=Role.REFERENCE_MATERIAL, Cu=4.8), expected={"Cu": expected})
    (outcome,) = judged(REFERENCE, at)
    assert (outcome.observed, outcome.expected) == (pytest.approx(observed), expected.value)


def test_a_reference_material_that_lacks_its_moisture_is_not_judged() -> None:
    at = sample("R", solid("R", basis=Basis.DRY), role=Role.REFERENCE_MATERIAL, Cu=4.8)
    (outcome,) = judged(REFERENCE, changed(at, expected={"Cu": Expected(500.0, "mg/kg")}))
    assert outcome.verdict is Verdict.NOT_JUDGED
    assert "loss on drying" in outcome.why


@pytest.mark.parametrize(
    ("parent", "duplicate", "mass_g", "observed", "verdict"),
    [
        (1.24, 1.09, 0.5, 12.875536, Verdict.WITHIN),  # EPA 6010D, 9.7.2; constructed
        (0.42, 0.33, 0.5, 24.0, Verdict.OUTSIDE),
        (1.0, 2.0, 1.0, 0.0, Verdict.WITHIN),
        (0.02, 0.029, 0.5, None, Verdict.NOT_JUDGED),
        (0.02, 5.0, 0.5, 198.4064, Verdict.OUTSIDE),
        (12.0, 1.0, 0.5, None, Verdict.NOT_JUDGED),
    ],
    ids=["within", "outside", "as contents", "both below the limit", "one below the limit", "over range"],
)
def test_a_duplicate_is_compared_with_its_parent_as_results(
    parent: float, duplicate: float, mass_g: float, observed: float | None, verdict: Verdict
) -> None:
    second = sample("A dup", solid("A dup", mass_g=mass_g), role=Role.DUPLICATE, Cu=duplicate)
    (outcome,) = judged(DUPLICATE, sample("A", Cu=parent), changed(second, parent=5))
    assert outcome.verdict is verdict
    assert outcome.observed == (None if observed is None else pytest.approx(observed, abs=5e-5))
    assert outcome.touches == ((5,) if verdict is Verdict.OUTSIDE else ())


@pytest.mark.parametrize(
    ("spiked", "added_mg", "verdict", "observed"),
    [
        (2.43, 0.1, Verdict.WITHIN, 94.0),  # 2.00 mg/L in 50 mL is 0.1 mg; EPA SW-846, Chapter One; constructed
        (1.55, 0.1, Verdict.OUTSIDE, 50.0),
        (1.55, None, Verdict.NOT_JUDGED, None),
    ],
)
def test_a_spike_is_judged_by_what_came_back(
    spiked: float, added_mg: float | None, verdict: Verdict, observed: float | None
) -> None:
    portion = solid("A spike", added_mg={} if added_mg is None else {"Cu": added_mg})
    at = changed(sample("A spike", portion, role=Role.SPIKE, Cu=spiked), parent=5)
    (outcome,) = judged(SPIKE, sample("A", Cu=0.55), at)
    assert outcome.verdict is verdict
    assert outcome.observed == (None if observed is None else pytest.approx(observed))
    assert outcome.touches == ((5,) if verdict is Verdict.OUTSIDE else ())


def test_a_spike_in_another_mass_is_compared_as_content() -> None:
    # given the sample at 55 mg/kg, and 0.2 mg added to one gram: 200 mg/kg
    at = sample(
        "A spike", solid("A spike", mass_g=1.0, added_mg={"Cu": 0.2}), role=Role.SPIKE, Cu=(55.0 + 188.0) / 50.0
    )
    (outcome,) = judged(SPIKE, sample("A", Cu=0.55), changed(at, parent=5))
    assert (outcome.observed, outcome.expected) == (pytest.approx(94.0), pytest.approx(200.0))


@pytest.mark.parametrize(
    ("original", "diluted", "of_parent", "dilution", "verdict", "observed"),
    [
        (4.8, 0.82, 1.0, 5.0, Verdict.WITHIN, 14.583333),  # EPA 6010D, 9.11.1; constructed
        (4.8, 0.82, 2.0, 10.0, Verdict.WITHIN, 14.583333),
        (4.8, 0.7, 1.0, 5.0, Verdict.OUTSIDE, 27.083333),
        (0.5, 0.05, 1.0, 5.0, Verdict.NOT_JUDGED, None),
    ],
    ids=["6010D", "of a diluted solution", "outside", "original too low"],
)
def test_a_serial_dilution_is_compared_with_its_original(
    original: float, diluted: float, of_parent: float, dilution: float, verdict: Verdict, observed: float | None
) -> None:
    first = changed(sample("A", Cu=original), dilution=of_parent)
    second = changed(sample("A", role=Role.SERIAL_DILUTION, Cu=diluted), parent=5, dilution=dilution)
    (outcome,) = judged(SERIAL, first, second)
    assert outcome.verdict is verdict
    assert outcome.observed == (None if observed is None else pytest.approx(observed, abs=5e-7))


@pytest.mark.parametrize(("criterion_", "role"), [(DUPLICATE, Role.DUPLICATE), (SPIKE, Role.SPIKE)])
def test_a_control_sample_without_its_parent_is_not_judged(criterion_: Criterion, role: Role) -> None:
    (outcome,) = judged(criterion_, sample("D", role=role, Cu=1.0))
    assert outcome.verdict is Verdict.NOT_JUDGED
    assert "does not say which position" in outcome.why


def test_results_that_no_failure_touches_are_not_marked() -> None:
    run = run_of(*standards(Cu=10.0), *bracketed(5.0, 5.0))
    assert result_at(evaluate(run, method(CONTINUING)), 5).marks == ()
