"""Curves judged by what they are: correlation, relative standard error, lack of fit, read-back of the standards."""

from dataclasses import replace

import numpy as np
import pytest

from labresults.calculation.evaluation import evaluate
from labresults.calculation.run import Evaluation, RunTable
from labresults.terms import Curve, Mark, Measure, Reach, Role, Verdict
from tests.calculation.builders import CU, changed, criterion, method, run_of, sample, standards

CORRELATION = criterion(Role.CALIBRATION_STANDARD, Measure.CORRELATION, 0.995, None, Reach.RUN)
ERROR = criterion(Role.CALIBRATION_STANDARD, Measure.STANDARD_ERROR, None, 20.0, Reach.RUN)
FIT = criterion(Role.CALIBRATION_STANDARD, Measure.LACK_OF_FIT, 0.01, None, Reach.RUN)
READ_BACK = criterion(Role.CALIBRATION_STANDARD, Measure.READ_BACK, None, 10.0, Reach.RUN)


def bent(by: float = 0.4) -> RunTable:
    """Return a run of two blocks: the first curve bends by this share at its top, the second does not."""
    first = [*standards(Cu=10.0), sample("A", Cu=1.0)]
    run = run_of(*first, *(changed(at, block=2) for at in first))
    held = np.array([[at.holds["Cu"]] for at in [*first, *first]])
    signal = run.signal.copy()
    signal[:5] -= by * held[:5] ** 2 / 10.0 * 1000.0
    replicates = {
        (position.number, CU.key): tuple(float(signal[row, 0]) + step for step in (-5.0, 0.0, 5.0))
        for row, position in enumerate(run.positions)
        if position.role is not Role.SAMPLE
    }
    return replace(run, signal=signal, replicates=replicates)


def judged(*criteria: object, run: RunTable | None = None, **changes: object) -> Evaluation:
    return evaluate(run or bent(), method(*criteria, rules=2, **changes))  # type: ignore[arg-type]


def test_a_curve_is_judged_once_at_its_highest_standard_and_speaks_for_its_block() -> None:
    evaluation = judged(CORRELATION)
    assert [(o.position, o.verdict, o.touches) for o in evaluation.outcomes] == [
        (4, Verdict.OUTSIDE, (5,)),
        (9, Verdict.WITHIN, ()),
    ]
    first = evaluation.outcomes[0]
    assert first.observed == evaluation.curves[0].r
    assert first.why.startswith("Cu 324.754, straight line of 4 points, correlation coefficient: 0.9")
    assert first.why.endswith("allowed at least 0.995: outside.")
    assert {r.position for r in evaluation.results if Mark.CONTROL_FAILED in r.marks} == {5}


def test_the_highest_standard_is_the_highest_in_use() -> None:
    run = replace(bent(), left_out=frozenset({(4, CU.key)}))
    assert [o.position for o in judged(CORRELATION, run=run).outcomes] == [3, 9]


@pytest.mark.parametrize(("curve", "verdict"), [(Curve.LINE, Verdict.OUTSIDE), (Curve.QUADRATIC, Verdict.WITHIN)])
def test_a_bent_curve_lacks_fit_until_its_shape_bends_too(curve: Curve, verdict: Verdict) -> None:
    line = replace(CU, curve=curve)
    evaluation = judged(FIT, lines=(line,))
    quality = evaluation.qualities[0]
    assert evaluation.outcomes[0].observed == quality.lack_of_fit_p
    assert evaluation.outcomes[0].verdict is verdict


def test_without_replicates_lack_of_fit_is_not_judged() -> None:
    run = bent()
    single = replace(run, replicates={}, spread=np.full_like(run.spread, np.nan), count=np.ones_like(run.count))
    outcome = judged(FIT, run=single).outcomes[0]
    assert (outcome.verdict, outcome.observed, outcome.touches) == (Verdict.NOT_JUDGED, None, ())
    assert "not to be had without single replicates" in outcome.why


def test_the_relative_standard_error_is_that_of_the_curve() -> None:
    evaluation = judged(ERROR)
    observed = [o.observed for o in evaluation.outcomes]
    assert observed == [quality.standard_error_percent for quality in evaluation.qualities]
    assert [o.verdict for o in evaluation.outcomes] == [Verdict.OUTSIDE, Verdict.WITHIN]


def test_each_standard_is_read_back_but_those_left_out_and_the_blank() -> None:
    run = replace(bent(), left_out=frozenset({(3, CU.key)}))
    evaluation = judged(READ_BACK, run=run)
    points = {point.position: point.residual_percent for point in evaluation.curves[0].points}
    outcomes = [o for o in evaluation.outcomes if o.position < 6]
    assert [(o.position, o.observed) for o in outcomes] == [(2, abs(points[2] or 0)), (4, abs(points[4] or 0))]
    assert outcomes[0].verdict is Verdict.OUTSIDE


def test_a_line_without_a_curve_is_not_judged_and_says_why() -> None:
    run = bent()
    run.signal[:4, 0] = np.nan
    outcome = judged(CORRELATION, ERROR, FIT, run=run).outcomes[0]
    assert outcome.verdict is Verdict.NOT_JUDGED
    assert outcome.why.startswith("No curve.")


def test_where_the_instrument_calibrates_there_is_no_curve_to_judge() -> None:
    assert judged(CORRELATION, ERROR, FIT, READ_BACK, instrument_calibrates=True).outcomes == ()
