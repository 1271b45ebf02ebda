"""Drift between bracketing checks: linear in position or in time, and where it is not followed."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from labresults.calculation.errors import UnlikeUnits
from labresults.calculation.evaluation import evaluate
from labresults.calculation.run import (
    RULES,
    Array,
    Expected,
    Interference,
    LineSpecification,
    MethodSpecification,
    RunTable,
)
from labresults.calculation.solutions import Solutions, find_solutions
from labresults.terms import DriftRule, Mark, Role
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
    outcome_at,
    result_at,
    run_of,
    sample,
    standards,
)

INITIAL = Role.INITIAL_VERIFICATION
BETWEEN = [sample(f"S{number}", Cu=2.0) for number in range(1, 5)]
PLACES = [*standards(Cu=10.0), check("ICV", role=INITIAL, cu=5.0), *BETWEEN, check("CCV 1", cu=5.0)]
"""Standards 1 to 4, the first check at 5, samples at 6 to 9, the next check at 10; more may follow."""


def drifting(places: Sequence[At], factor: Array, lines: Sequence[LineSpecification] = (CU,)) -> RunTable:
    """Return a run whose sensitivity is multiplied by `factor`, [position]."""
    run = run_of(*places, lines=lines)
    return replace(run, signal=INTERCEPT + (run.signal - INTERCEPT) * factor[:, None])


def rising(places: Sequence[At], per_position: float) -> Array:
    """Return a factor that is one up to the first check, at position 5, and then rises linearly."""
    numbers = np.arange(1, len(places) + 1)
    return 1.0 + per_position * np.maximum(numbers - 5, 0)


def corrects(rule: DriftRule = DriftRule.BY_POSITION, **changes: object) -> MethodSpecification:
    return method(CONTINUING, rules=RULES, drift_rule=rule, drift_limit_percent=10.0, **changes)


def solved(run: RunTable, specification: MethodSpecification) -> Solutions:
    return find_solutions(run, specification)


def test_a_linear_drift_is_taken_away_between_two_checks() -> None:
    # given a plasma that gains 1 % at each position after the first check
    run = drifting(PLACES, rising(PLACES, 0.01))
    # when
    found = solved(run, corrects())
    # then each sample is divided by its own factor
    assert found.read[5:9, 0] == pytest.approx([2.02, 2.04, 2.06, 2.08])
    assert found.drift[5:9, 0] == pytest.approx([1.01, 1.02, 1.03, 1.04])
    assert found.drifted[5:9, 0] == pytest.approx([2.0] * 4)
    assert found.concentration[5:9, 0] == pytest.approx([2.0] * 4)


def test_without_a_rule_nothing_is_corrected() -> None:
    found = solved(drifting(PLACES, rising(PLACES, 0.01)), method(rules=RULES))
    assert np.isnan(found.drift).all()
    assert found.drifted.tobytes() == found.read.tobytes()


def test_checks_and_calibration_solutions_are_judged_as_they_were_read() -> None:
    evaluation = evaluate(drifting(PLACES, rising(PLACES, 0.01)), corrects())
    assert outcome_at(evaluation, 10).observed == pytest.approx(105.0)
    found = solved(drifting(PLACES, rising(PLACES, 0.01)), corrects())
    assert np.isnan(found.drift[[0, 1, 2, 3, 4, 9], 0]).all()


PREPARED = [
    Role.SAMPLE,
    Role.DUPLICATE,
    Role.SPIKE,
    Role.METHOD_BLANK,
    Role.CONTROL_SAMPLE,
    Role.REFERENCE_MATERIAL,
    Role.SERIAL_DILUTION,
    Role.POST_DIGESTION_SPIKE,
]


@pytest.mark.parametrize("role", Role)
def test_only_what_was_prepared_is_corrected(role: Role) -> None:
    places = [*PLACES[:5], sample("X", role=role, Cu=2.0), *PLACES[6:]]
    found = solved(drifting(places, rising(places, 0.01)), corrects())
    assert bool(np.isfinite(found.drift[5, 0])) is (role in PREPARED)


def test_drift_in_time_follows_the_clock_and_not_the_position() -> None:
    # given samples read 100, 200, 300 and 700 s after the first check, the next check at 1000 s, 5 % up by then
    times = (0.0, 0.0, 0.0, 0.0, 1000.0, 1100.0, 1200.0, 1300.0, 1700.0, 2000.0)
    factor = 1.0 + 0.05 * np.maximum(np.array(times) - 1000.0, 0.0) / 1000.0
    run = replace(drifting(PLACES, factor), times_s=times)
    found = solved(run, corrects(DriftRule.BY_TIME))
    assert found.drift[5:9, 0] == pytest.approx([1.005, 1.010, 1.015, 1.035])
    assert found.concentration[5:9, 0] == pytest.approx([2.0] * 4)


@pytest.mark.parametrize(
    ("times", "refused"),
    [
        ((), [6, 7, 8, 9]),
        ((0.0, 1.0, 2.0, 3.0, 4.0, 5.0, None, 7.0, 8.0, 9.0), [7]),
        ((0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, None), [6, 7, 8, 9]),
        ((0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 12.0, 8.0, 9.0), [8]),
        ((0.0, 1.0, 2.0, 3.0, 4.0, 4.0, 4.0, 4.0, 4.0, 4.0), [6, 7, 8, 9]),
    ],
    ids=["no times", "one sample without", "a check without", "a clock put forward", "a clock that stands"],
)
def test_a_position_without_its_time_is_refused(times: tuple[float | None, ...], refused: list[int]) -> None:
    run = replace(drifting(PLACES, rising(PLACES, 0.01)), times_s=times)
    evaluation = evaluate(run, corrects(DriftRule.BY_TIME))
    assert [at for at in range(6, 10) if result_at(evaluation, at).value is None] == refused
    result = result_at(evaluation, refused[0])
    assert result.marks == (Mark.NO_VALUE,)
    assert f"the time of position {refused[0]} or of a check beside it is not known or out of order" in str(
        result.why_no_value
    )


AFTER = [sample("L1", Cu=2.0), check("CCV 2", cu=5.0), sample("L2", Cu=2.0)]


@pytest.mark.parametrize(
    ("at_checks", "corrected", "why"),
    [
        ((1.0, 1.05, 1.10), [6, 7, 8, 9, 11], ""),
        ((1.0, 1.05, 1.13), [6, 7, 8, 9], "the check at position 12 drifted by 13 %, more than the 10 %"),
        ((1.0, 0.85, 0.95), [], "the check at position 10 drifted by -15 %, more than the 10 %"),
        ((1.0, float("nan"), 1.05), [], "the check at position 10, or the first one of the block, was not read"),
        ((float("nan"), 1.0, 1.0), [], "the check at position 5, or the first one of the block, was not read"),
    ],
    ids=["the limit is included", "the last beyond", "the middle beyond", "not read", "the first not read"],
)
def test_a_drift_is_not_followed_where_it_cannot_be_trusted(
    at_checks: tuple[float, float, float], corrected: list[int], why: str
) -> None:
    """The limit is 10 %. Where a check is beyond it, its own failure stands and says so."""
    places = [*PLACES, *AFTER]
    run = drifting(places, np.ones(len(places)))
    for row, factor in zip((4, 9, 11), at_checks, strict=True):
        run.signal[row, 0] = INTERCEPT + 5.0 * SLOPE * factor
    found = solved(run, corrects())
    assert [at + 1 for at in np.flatnonzero(np.isfinite(found.drift[:, 0]))] == corrected
    uncorrected = [row for row in (5, 10) if row + 1 not in corrected]
    if uncorrected:
        assert why in str(found.drifting.why_not(uncorrected[0], 0))
        assert found.drifted[uncorrected[0], 0] == found.read[uncorrected[0], 0]


def test_beyond_the_last_check_and_before_the_first_nothing_is_corrected() -> None:
    places = [*PLACES[:4], sample("E", Cu=2.0), *PLACES[4:], *AFTER]
    found = solved(drifting(places, rising(places, 0.002)), corrects())
    for row in (4, 13):
        assert np.isnan(found.drift[row, 0])
        assert found.drifting.why_not(row, 0) == (
            f"Cu 324.754: position {row + 1} does not stand between two checks of its block that hold it."
        )
        assert found.why_no_concentration(row, 0) is None  # the value stands as it was read


def test_each_block_starts_anew() -> None:
    # given a second calibration after which the plasma has 20 % more, of which the new curve takes account
    first, second = PLACES, [changed(at, block=2, label=f"{at.position.label}, again") for at in PLACES]
    run = drifting([*first, *second], np.concatenate([rising(first, 0.01), 1.2 * rising(second, -0.01)]))
    found = solved(run, corrects())
    assert found.concentration[[5, 8, 15, 18], 0] == pytest.approx([2.0] * 4)
    assert found.drift[15, 0] == pytest.approx(0.99)


def test_checks_that_do_not_hold_the_element_are_passed_over() -> None:
    # given a check of iron alone between two of copper
    only_iron = At(replace(check("V-Fe", cu=0.0).position, expected={"Fe": Expected(50.0, "mg/L")}), {"Fe": 50.0})
    places = [*PLACES[:7], only_iron, *PLACES[7:]]
    places[:4] = standards(Cu=10.0, Fe=100.0)
    found = solved(drifting(places, rising(places, 0.01), lines=(CU, FE)), corrects(lines=(CU, FE)))
    assert found.concentration[[5, 6, 8, 9], 0] == pytest.approx([2.0] * 4)
    assert np.isnan(found.drift[:, 1]).all()  # one check of iron makes no bracket


def test_a_check_is_compared_with_all_that_its_line_should_see() -> None:
    # given iron in the checks that reads as copper, and a drift that is the same at both lines
    line = replace(CU, interferences=(Interference("Fe", 0.05),))
    icv = At(
        replace(PLACES[4].position, expected={"Cu": Expected(5.0, "mg/L"), "Fe": Expected(20.0, "mg/L")}),
        {"Cu": 5.0 + 0.05 * 20.0, "Fe": 20.0},
    )
    ccv = At(
        replace(PLACES[9].position, expected={"Cu": Expected(4.0, "mg/L"), "Fe": Expected(80.0, "mg/L")}),
        {"Cu": 4.0 + 0.05 * 80.0, "Fe": 80.0},
    )
    samples = [sample(f"S{i}", Cu=2.0 + 0.05 * 30.0, Fe=30.0) for i in range(4)]
    mixed = [
        At(at.position, {"Cu": at.holds["Cu"] + 0.05 * at.holds["Fe"], "Fe": at.holds["Fe"]})
        for at in standards(Cu=10.0, Fe=100.0)
    ]
    places = [*mixed, icv, *samples, ccv]
    run = drifting(places, rising(places, 0.01), lines=(line, FE))
    # when
    found = solved(run, corrects(lines=(line, FE)))
    # then
    assert found.drift[5:9, 0] == pytest.approx([1.01, 1.02, 1.03, 1.04])
    assert found.concentration[5:9, 0] == pytest.approx([2.0] * 4)


def test_a_check_in_another_unit_and_dilution_is_understood() -> None:
    diluted = replace(PLACES[9].position, expected={"Cu": Expected(50_000.0, "ug/L")}, dilution=10.0)
    places = [*PLACES[:9], At(diluted, PLACES[9].holds)]
    assert solved(drifting(places, rising(places, 0.01)), corrects()).drift[8, 0] == pytest.approx(1.04)


def test_a_check_in_a_unit_that_leads_nowhere_is_refused() -> None:
    by_mass = changed(PLACES[9], expected={"Cu": Expected(5.0, "mg/kg")})
    with pytest.raises(UnlikeUnits, match="CCV 1"):
        solved(run_of(*PLACES[:9], by_mass), corrects())


def test_the_factor_has_an_uncertainty_that_reaches_the_result() -> None:
    """JCGM 100:2008 (GUM), 5.1.2, by numerical differences in the readings of the two checks."""
    run = drifting(PLACES, rising(PLACES, 0.01) + np.array([0, 0.01, -0.004, 0.002, 0, 0, 0, 0, 0, 0]))
    found = solved(run, corrects())
    step, row = 1e-6, 7
    by_hand = 0.0
    for at in (4, 9):
        moved = run.signal.copy()
        moved[at, 0] += step
        other = solved(replace(run, signal=moved), corrects())
        change = (other.drift[row, 0] - found.drift[row, 0]) / (other.read[at, 0] - found.read[at, 0])
        by_hand += (change * found.u_read[at, 0]) ** 2
    assert found.drifting.u[row, 0] == pytest.approx(by_hand**0.5, rel=1e-5)
    relative = np.hypot(found.u_read[row, 0] / found.read[row, 0], found.drifting.u[row, 0] / found.drift[row, 0])
    assert found.u[row, 0] == pytest.approx(found.concentration[row, 0] * relative)
