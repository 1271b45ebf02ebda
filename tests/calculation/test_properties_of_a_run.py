"""What holds for every run, whatever its method: nothing depends on the unit of the signal, and contents come back."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labresults.calculation.evaluation import evaluate
from labresults.calculation.run import (
    RULES,
    Evaluation,
    RunTable,
)
from labresults.calculation.solutions import find_solutions
from labresults.terms import Curve, DriftRule
from tests.calculation.bench import CALIBRATORS, Wishes, made, wishes
from tests.calculation.builders import CONTINUING, CU, FE, check, method, run_of, sample, standards


def scaled(run: RunTable, by: float) -> RunTable:
    return replace(
        run,
        signal=run.signal * by,
        spread=run.spread * by,
        replicates={at: tuple(by * value for value in values) for at, values in run.replicates.items()},
    )


def raised(run: RunTable, by: float) -> RunTable:
    return replace(
        run,
        signal=run.signal + by,
        replicates={at: tuple(by + value for value in values) for at, values in run.replicates.items()},
    )


def values_of(evaluation: Evaluation) -> list[float]:
    return [np.nan if result.value is None else result.value for result in evaluation.results]


# ---------------------------------------------------------------- what holds


@settings(max_examples=150, deadline=None)
@given(wish=wishes())
def test_contents_come_back_from_their_readings(wish: Wishes) -> None:
    """content -> readings -> content, to 1e-9 of it."""
    work = made(wish)
    evaluation = evaluate(work.run, work.method)
    found = {(result.position, result.element): result.value for result in evaluation.results}
    for number, contents in work.contents.items():
        for element, content in contents.items():
            assert found[number, element] == pytest.approx(content, rel=1e-9), (number, element)


@settings(max_examples=60, deadline=None)
@given(wish=wishes(), by=st.floats(1e-3, 1e3))
def test_the_scale_of_the_signals_is_of_no_matter(wish: Wishes, by: float) -> None:
    work = made(wish, noise=0.01)
    before, after = evaluate(work.run, work.method), evaluate(scaled(work.run, by), work.method)
    assert after.concentration == pytest.approx(before.concentration, rel=1e-9, abs=1e-12, nan_ok=True)
    assert after.u_concentration == pytest.approx(before.u_concentration, rel=1e-6, nan_ok=True)
    assert values_of(after) == pytest.approx(values_of(before), rel=1e-9, abs=1e-9, nan_ok=True)
    assert [result.marks for result in after.results] == [result.marks for result in before.results]


@settings(max_examples=60, deadline=None)
@given(wish=wishes(), by=st.floats(-100.0, 1e4))
def test_a_constant_in_all_signals_is_of_no_matter_where_the_curves_have_an_intercept(wish: Wishes, by: float) -> None:
    curves = tuple(Curve.LINE if each is Curve.LINE_THROUGH_ZERO else each for each in wish.curves)
    work = made(replace(wish, curves=curves, internal_standard=False), noise=0.01)
    before, after = evaluate(work.run, work.method), evaluate(raised(work.run, by), work.method)
    assert after.concentration == pytest.approx(before.concentration, rel=1e-9, abs=1e-9, nan_ok=True)
    assert values_of(after) == pytest.approx(values_of(before), rel=1e-8, abs=1e-8, nan_ok=True)


def reordered(run: RunTable, order: Sequence[int]) -> RunTable:
    """Return the run with its rows in another order; the positions keep their numbers."""
    rows = list(order)
    return replace(
        run,
        positions=tuple(run.positions[row] for row in rows),
        signal=run.signal[rows],
        spread=run.spread[rows],
        count=run.count[rows],
        saturated=run.saturated[rows],
    )


@settings(max_examples=60, deadline=None)
@given(wish=wishes(), data=st.data())
def test_the_order_of_the_positions_is_of_no_matter_without_drift_and_carry_over(
    wish: Wishes, data: st.DataObject
) -> None:
    """Bit for bit, with blanks and checks among what changes its place."""
    work = made(replace(wish, drifts=False, rules=RULES), noise=0.01)
    count = len(work.run.positions)
    order = [*range(CALIBRATORS), *data.draw(st.permutations(range(CALIBRATORS, count)))]
    before, after = evaluate(work.run, work.method), evaluate(reordered(work.run, order), work.method)
    assert after.concentration.tobytes() == before.concentration[order].tobytes()
    assert after.u_concentration.tobytes() == before.u_concentration[order].tobytes()
    assert repr(after.curves) == repr(before.curves)

    def by_place(evaluation: Evaluation) -> list[str]:
        return sorted(repr(result) for result in evaluation.results)

    assert by_place(after) == by_place(before)


@settings(max_examples=60, deadline=None)
@given(wish=wishes(), data=st.data())
def test_another_order_changes_brackets_carry_over_and_drift_and_nothing_else(
    wish: Wishes, data: st.DataObject
) -> None:
    work = made(replace(wish, drifts=True, subtracts=False, rules=RULES), noise=0.01)
    specification = replace(
        work.method,
        criteria=(CONTINUING,),
        lines=tuple(replace(line, carry_over=0.02) for line in work.method.lines),
    )
    count = len(work.run.positions)
    order = [*range(CALIBRATORS), *data.draw(st.permutations(range(CALIBRATORS, count)))]
    one, other = find_solutions(work.run, specification), find_solutions(reordered(work.run, order), specification)
    # what is read is the same, whatever stands before it
    for name in ("signal", "through_curve", "read", "u_read"):
        assert getattr(other, name).tobytes() == getattr(one, name)[order].tobytes(), name
    # drift and carry-over are of the places; where no drift is corrected in either, the bits are the same
    same = np.isnan(one.drift[order]).all(axis=1) & np.isnan(other.drift).all(axis=1)
    assert other.concentration[same].tobytes() == one.concentration[order][same].tobytes()
    # a check is judged the same wherever it stands
    before, after = evaluate(work.run, specification), evaluate(reordered(work.run, order), specification)
    judged = [
        sorted((each.position, each.line, each.observed, each.verdict) for each in evaluation.outcomes)
        for evaluation in (before, after)
    ]
    assert judged[0] == judged[1]


def test_these_properties_can_fail() -> None:
    """Each is a statement about something: a standard, an order or a constant that does matter is seen to."""
    places = [*standards(Cu=10.0, Fe=100.0), check("V1", cu=5.0), sample("A", Cu=9.0), sample("B", Cu=0.05)]
    run = run_of(*places, check("V2", cu=5.4), lines=(CU, FE))
    through_zero = method(lines=(replace(CU, curve=Curve.LINE_THROUGH_ZERO), FE), rules=RULES)
    assert evaluate(raised(run, 500.0), through_zero).concentration[5, 0] != pytest.approx(9.0, rel=1e-3)
    following = method(
        lines=(replace(CU, carry_over=0.005), FE),
        rules=RULES,
        drift_rule=DriftRule.BY_POSITION,
        drift_limit_percent=10.0,
    )
    swapped = reordered(run, [0, 1, 2, 3, 4, 6, 5, 7])
    one, other = find_solutions(run, following), find_solutions(swapped, following)
    assert [one.carried[6, 0], other.carried[5, 0]] == [True, False]
    assert one.concentration[5, 0] != other.concentration[6, 0]
