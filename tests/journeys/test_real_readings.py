"""Real readings, published by others, through a run file and the acts: why there are quadratic and weighted fits.

Silver by plasma emission bends visibly; the spread of cadmium grows with its level. Data: tests/reference/calibration.
"""

from collections.abc import Mapping, Sequence
from math import isclose

import pytest

from labresults.actions.evaluation import compute_again, evaluate_run
from labresults.models import Calibration, Evaluation, Result
from labresults.terms import Curve, FitOn, Weighting
from tests.builders import Laboratory
from tests.calculation.calibrations import CADMIUM_LEVELS, SILVER_LEVELS
from tests.calculation.published import published
from tests.journeys.published_runs import PublishedRun, evaluated


def a_run_of(lab: Laboratory, code: str, levels: Mapping[float, Sequence[float]], **line: object) -> Evaluation:
    """One solution a level, read in replicates; the lowest standard's readings come again as those of a sample."""
    lowest = min(x for x in levels if x)
    return evaluated(
        lab,
        PublishedRun(
            concentrations=list(levels),
            standards=list(levels.values()),
            unknowns=[levels[lowest]],
            unit="ug/L",
            per_unit=1.0,
            mg_per_L=1e-3,
            code=code,
            line={**(SILVER if levels is SILVER_LEVELS else CADMIUM), "quantification_limit": lowest / 1000, **line},
        ),
    )


SILVER = {"element": "Ag", "label": "328.068"}
CADMIUM = {"element": "Cd", "label": "228.802"}


def errors_of(curve: Calibration) -> list[float]:
    """Read-back errors of the standards that are not blanks [%], from the lowest up."""
    return [point[5] for point in curve.points if point[1]]


def value_of(evaluation: Evaluation) -> float:
    """What the sample with the lowest standard's readings was found to hold, µg/L."""
    value = Result.objects.get(evaluation=evaluation, is_candidate=True).value
    assert value is not None
    return 1000.0 * value


def test_silver_bends_and_a_quadratic_follows_it(lab: Laboratory) -> None:
    # given silver at 0, 250, 1000 and 2500 µg/L, four replicates each
    # when the same readings are evaluated by a straight line and by a quadratic
    line = a_run_of(lab, "AG-1", SILVER_LEVELS).calibrations.get()
    bent = a_run_of(lab, "AG-2", SILVER_LEVELS, curve=Curve.QUADRATIC).calibrations.get()
    # then the correlation of the straight line looks well, but its errors bow: low, high, low
    assert line.r > 0.999
    assert errors_of(line) == [
        pytest.approx(-6.56, abs=0.01),
        pytest.approx(7.12, abs=0.01),
        pytest.approx(-1.07, abs=0.01),
    ]
    assert line.lowest_error_percent == pytest.approx(-6.56, abs=0.01)
    assert line.standard_error_percent == pytest.approx(9.74, abs=0.01)
    # and against the replicates no straight line would give such readings by chance
    assert line.lack_of_fit_f > 2000
    assert line.lack_of_fit_p < 1e-12
    # the quadratic takes the bow away and leaves a third of the scatter
    assert [abs(error) < 0.6 for error in errors_of(bent)] == [False, True, True]
    assert bent.residual_sd < 0.35 * line.residual_sd
    assert bent.lack_of_fit_f < line.lack_of_fit_f / 8
    # with three standards for three coefficients, a relative standard error cannot be had, and none is made up
    assert bent.standard_error_percent is None


def test_silver_at_the_low_end_needs_weights_as_well(lab: Laboratory) -> None:
    # given a sample that holds 250 µg/L, of 2500 in the highest standard
    found = {
        weighting: value_of(a_run_of(lab, f"AG-{place}", SILVER_LEVELS, weighting=weighting, fit_on=FitOn.REPLICATES))
        for place, weighting in enumerate([Weighting.NONE, Weighting.INVERSE_X, Weighting.INVERSE_X2], start=3)
    }
    # then the unweighted line is 16 µg/L off, and lines weighted with the concentration 1 to 2
    assert found[Weighting.NONE] == pytest.approx(233.6, abs=0.1)
    assert found[Weighting.INVERSE_X] == pytest.approx(247.7, abs=0.1)
    assert found[Weighting.INVERSE_X2] == pytest.approx(249.0, abs=0.1)


def test_the_spread_of_cadmium_grows_with_its_level(lab: Laboratory) -> None:
    # given cadmium at six levels, four replicates each, whose standard deviation grows tenfold
    spreads = published("calibration")["spread grows with level"]["recomputed"]["level_sd"]
    assert spreads[5] / spreads[1] > 9
    # when fitted without weights, weighted with the concentration, and with each level's own spread
    plain, by_level, by_spread = (
        a_run_of(lab, f"CD-{place}", CADMIUM_LEVELS, weighting=weighting, fit_on=FitOn.REPLICATES)
        for place, weighting in enumerate([Weighting.NONE, Weighting.INVERSE_X2, Weighting.INVERSE_VARIANCE])
    )
    curves = [each.calibrations.get() for each in (plain, by_level, by_spread)]
    # then all are of 24 readings, and a straight line serves: F of lack of fit agrees with an independent computation
    assert [(curve.count, curve.fit_on) for curve in curves] == [(24, FitOn.REPLICATES)] * 3
    again = published("calibration")["spread grows with level"]["recomputed"]
    assert curves[0].lack_of_fit_f == pytest.approx(again["lack_of_fit_F_4_18"])
    assert curves[0].lack_of_fit_p == pytest.approx(again["p"])
    # without weights the large scatter at the top throws the lowest standard off by 6 %; weights bring it to 2 %
    assert [curve.lowest_error_percent for curve in curves] == [
        pytest.approx(-5.85, abs=0.01), pytest.approx(-1.80, abs=0.01), pytest.approx(-2.10, abs=0.01),
    ]  # fmt: skip
    assert [curve.standard_error_percent for curve in curves] == [
        pytest.approx(3.71, abs=0.01), pytest.approx(2.12, abs=0.01), pytest.approx(2.17, abs=0.01),
    ]  # fmt: skip
    # and the uncertainty of a reading down there falls to a third: it is no longer that of the whole range
    u_plain, u_by_level, u_by_spread = (u_of_sample(each) for each in (plain, by_level, by_spread))
    assert u_by_level < u_plain / 3
    assert u_by_spread < u_plain / 3


def u_of_sample(evaluation: Evaluation) -> float:
    """Standard uncertainty of the sample's reading from curve and replicates, mg/L."""
    return float(compute_again(evaluation).evaluated.u_concentration[-1, 0])


def test_the_quality_of_a_curve_and_what_was_left_out_are_kept_with_it(lab: Laboratory) -> None:
    # given cadmium, and its highest standard left out by name
    first = a_run_of(lab, "CD-9", CADMIUM_LEVELS)
    again = evaluate_run(
        by=lab.people["analyst"], at=lab.later(), run=first.run, reason="the highest standard was spilled",
        left_out=[(6, "Cd 228.802")],
    )  # fmt: skip
    before, after = first.calibrations.get(), again.calibrations.get()
    # then the working range ends at the highest standard in use, where it ended at the method's own top before
    assert (before.bottom, before.top) == (None, pytest.approx(43.2067e-3))
    assert (after.bottom, after.top) == (None, pytest.approx(31.7741e-3))
    (quality,) = compute_again(again).evaluated.qualities
    assert quality.shrunk == "Position 6 (0.0432067 mg/L) was left out: the working range ends at 0.0317741 mg/L."
    assert quality.unsupported == ""
    # and the evaluation made before is found again as it was
    assert compute_again(first).evaluated.qualities[0].shrunk == ""
    assert isclose(first.calibrations.get().b1, before.b1)
