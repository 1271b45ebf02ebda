"""How good curves are: errors at the standards, lack of fit, and the working range that is left in use."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import chdtrc

from labresults.calculation.curve_quality import (
    Replicated,
    lack_of_fit,
    lowest_error,
    qualities,
    relative_standard_error,
)
from labresults.calculation.curves import fit_curves
from labresults.calculation.run import CurveQuality, RunTable
from labresults.terms import Curve, FitOn, Weighting
from tests.calculation.builders import CU, At, run_of, standards
from tests.calculation.calibrations import (
    CADMIUM_LEVELS,
    SILVER_LEVELS,
    a_calibration,
    a_point,
    curve_and_quality,
    single,
)
from tests.calculation.published import as_printed, published

CALIBRATION = published("calibration")
CADMIUM, LOW_END = CALIBRATION["spread grows with level"], CALIBRATION["low end"]

# ---------------------------------------------------------------- errors at the standards


@pytest.mark.parametrize(
    ("weighting", "name"), [(Weighting.INVERSE_X, "1/x"), (Weighting.NONE, "unweighted")], ids=["1/x", "unweighted"]
)
def test_a_high_correlation_hides_what_the_relative_standard_error_shows(weighting: Weighting, name: str) -> None:
    # given standards over three decades whose signals scatter by a few percent
    x, y = LOW_END["inputs"]["concentration"], LOW_END["inputs"]["signal"]
    run = a_calibration({at: [signal] for at, signal in zip(x, y, strict=True)})
    # when fitted with a weighting
    curve, quality = curve_and_quality(run, replace(CU, weighting=weighting, quantification_limit=0.01))
    # then the relative standard error is 1.8 % or 54 %, while r is above 0.9999 either way
    again = LOW_END["recomputed"][name]
    assert curve.coefficients[:2] == (
        pytest.approx(again["intercept"], abs=5e-7),
        pytest.approx(again["slope"], abs=5e-7),
    )
    assert quality.standard_error_percent == pytest.approx(again["rse_percent"], abs=5e-5)
    assert curve.r > 0.9999
    lowest = curve.points[0].read_back
    assert quality.lowest_error_percent == pytest.approx(100 * (lowest - 0.01) / 0.01)


def test_the_relative_standard_error_takes_standards_in_use_and_no_blanks() -> None:
    # given errors of 3, −4 and 12 %, a blank and a point left out
    points = [
        a_point(0.0, None),
        a_point(1.0, 3.0),
        a_point(2.0, -4.0),
        a_point(5.0, 12.0),
        a_point(9.0, 90.0, used=False),
    ]
    # then 100 √(Σ relative errors² / (n − p)), n = 3
    assert relative_standard_error(points, 1) == pytest.approx((169 / 2) ** 0.5)
    assert relative_standard_error(points, 2) == pytest.approx(13.0)
    assert relative_standard_error(points, 3) is None


def test_the_lowest_error_keeps_its_sign_and_is_the_largest_there() -> None:
    points = [a_point(0.0, None), a_point(0.5, 3.0), a_point(0.5, -8.0), a_point(2.0, 40.0)]
    assert lowest_error(points) == -8.0
    assert lowest_error([a_point(0.0, None)]) is None


# ---------------------------------------------------------------- lack of fit


@pytest.mark.parametrize("as_run", [a_calibration, single], ids=["four replicates", "four solutions"])
@pytest.mark.parametrize("fit_on", list(FitOn))
def test_cadmium_lies_on_a_straight_line(as_run: Callable[..., RunTable], fit_on: FitOn) -> None:
    # given Rocke & Lorenzato (1995), six levels of four
    run = as_run(CADMIUM_LEVELS)
    # when a straight line is fitted on means, on replicates, or on solutions read once
    curve, quality = curve_and_quality(run, replace(CU, fit_on=fit_on))
    # then line, F of lack of fit and its probability agree with an independent computation
    again = CADMIUM["recomputed"]
    assert curve.coefficients[:2] == (pytest.approx(again["intercept"]), pytest.approx(again["slope"]))
    assert quality.lack_of_fit_f == pytest.approx(again["lack_of_fit_F_4_18"])
    assert quality.lack_of_fit_p == pytest.approx(again["p"])


def test_silver_does_not_lie_on_a_straight_line() -> None:
    # given readings that visibly bend
    run = a_calibration(SILVER_LEVELS)
    _, line = curve_and_quality(run, CU)
    _, quadratic = curve_and_quality(run, replace(CU, curve=Curve.QUADRATIC))
    # then no straight line gives such readings by chance
    assert line.lack_of_fit_p == pytest.approx(0.0, abs=1e-12)
    # and a quadratic takes seven eighths of the F away; the rest is told as well, so alike are the replicates
    assert f_of(quadratic) < f_of(line) / 8
    assert quadratic.lack_of_fit_p == pytest.approx(0.0, abs=1e-8)


def f_of(quality: CurveQuality) -> float:
    assert quality.lack_of_fit_f is not None
    return quality.lack_of_fit_f


def four(**changes: object) -> list[Replicated]:
    """Return three replicates at each of four levels, off a line of slope 10 by 1, −1, −1 and 1."""
    rows = [Replicated(x, 10 * x + off, 1.0, 3, 1.0) for x, off in zip((0, 1, 2, 3), (1, -1, -1, 1), strict=True)]
    return [replace(row, **changes) for row in rows]  # type: ignore[arg-type]


def test_f_is_what_draper_and_smith_define() -> None:
    # given residuals of ±1, three times each: SS of lack of fit 12 with 2 degrees, of pure error 8 with 8
    assert lack_of_fit(four(), Curve.LINE) == (pytest.approx(6.0), pytest.approx(0.0256, abs=1e-4))
    # where s = 1 is known, F is χ²/2 = 6, and p = exp(−χ²/2)
    assert lack_of_fit(four(), Curve.LINE, s_is_known=True) == (pytest.approx(6.0), pytest.approx(np.exp(-6.0)))


def test_known_uncertainties_are_tested_by_chi_squared() -> None:
    # given ISO/TS 28037 (2010), 6.3: six points with u = 0.5, χ² = 1.665 with 4 degrees of freedom
    case = published("regression")["known uncertainties"]
    points = zip(*(case["inputs"][name] for name in ("x", "y", "u_y")), strict=True)
    found = lack_of_fit([Replicated(x, y, u, 1, u**-2) for x, y, u in points], Curve.LINE, s_is_known=True)
    # then F is χ²/4, and so large a one comes by chance four times in five: χ² stays under its 95 % quantile of 9.488
    assert found is not None
    assert 4 * found[0] == as_printed(case["expected"]["chi2_obs"])
    assert found[1] == pytest.approx(float(chdtrc(4, 1.6647619)))
    assert found[1] > 0.05


@pytest.mark.parametrize(
    ("solutions", "curve"),
    [
        (four(count=1, sd=None), Curve.LINE),
        (four(sd=0.0), Curve.LINE),
        (four(sd=None), Curve.LINE),
        (four()[:2], Curve.LINE),
        (four()[:3], Curve.QUADRATIC),
    ],
    ids=["read once", "no spread", "spread not known", "two levels", "three for a quadratic"],
)
def test_lack_of_fit_is_not_told_where_it_cannot_be(solutions: list[Replicated], curve: Curve) -> None:
    assert lack_of_fit(solutions, curve) is None


def test_unequal_numbers_of_replicates_count_by_their_number() -> None:
    # given the same readings grouped as one solution of six, or as two of three
    together = [Replicated(0, 1.0, 1.0, 3, 1.0), Replicated(1, 9.5, 2.0, 6, 1.0), Replicated(2, 21.0, 1.0, 3, 1.0)]
    # the six are (9.5 ± half a difference) of two threes: mean squares add up to the same sum 5 · 2²
    between = 6 * 1.0**2
    within = (5 * 4.0 - between) / 4
    apart = [
        together[0],
        Replicated(1, 8.5, within**0.5, 3, 1.0),
        Replicated(1, 10.5, within**0.5, 3, 1.0),
        together[2],
    ]
    assert lack_of_fit(apart, Curve.LINE) == pytest.approx(lack_of_fit(together, Curve.LINE))


def test_a_curve_of_ratios_is_tested_on_ratios() -> None:
    # given readings that go up and down with the internal standard, and its own noise of a thousandth
    ups, noise = [1.0, 1.3, 0.8], [1.001, 0.999, 1.0]
    run = a_calibration({x: [(100 + 1000 * x + bend) * up for up in ups] for x, bend in BENT.items()})
    yttrium = tuple(5000.0 * up * own for up, own in zip(ups, noise, strict=True))
    ratios = replace(run, replicates={**run.replicates, **{(n, "Y 371.029"): yttrium for n in range(1, 5)}})
    curves = fit_curves(run, run.signal / 5000.0, run.spread / 5000.0, {0: CU}, "mg/L", "Y 371.029")
    # then the bend is told against ratios, though not against the signals themselves
    found = qualities(ratios, {0: CU}, curves, "mg/L", 2, "Y 371.029")[1, 0]
    assert found.lack_of_fit_p is not None
    assert found.lack_of_fit_p < 1e-3
    _, of_signals = curve_and_quality(run, CU)
    assert of_signals.lack_of_fit_p is not None
    assert of_signals.lack_of_fit_p > 0.9
    # and not at all where the file has no single replicates
    without = qualities(replace(run, replicates={}), {0: CU}, curves, "mg/L", 2, "Y 371.029")[1, 0]
    assert without.lack_of_fit_p is None


BENT = {0.0: 0.0, 1.0: 0.0, 5.0: 100.0, 10.0: 0.0}


# ---------------------------------------------------------------- of a run


def test_the_first_edition_of_the_rules_has_no_qualities() -> None:
    run = run_of(*standards(Cu=10.0))
    curves = fit_curves(run, run.signal, run.spread, {0: CU}, "mg/L")
    assert qualities(run, {0: CU}, curves, "mg/L", rules=1) == {}


def test_a_line_without_curve_keeps_only_its_own_top() -> None:
    run = a_calibration({1.0: [1.0], 2.0: [2.0]}, left_out=[1])
    curve, quality = curve_and_quality(run, CU)
    assert curve.problem is not None
    assert quality == CurveQuality(1, CU.key, bottom=None, top=10.0)


def test_each_block_has_qualities_of_its_own() -> None:
    # given a second calibration whose highest standard is left out
    first = standards(Cu=10.0)
    second = [At(replace(at.position, block=2, label=f"{at.position.label} again"), at.holds) for at in first]
    run = replace(run_of(*first, *second), left_out=frozenset({(8, CU.key)}))
    curves = fit_curves(run, run.signal, run.spread, {0: CU}, "mg/L")
    found = qualities(run, {0: CU}, curves, "mg/L", rules=2)
    assert [(found[block, 0].top, bool(found[block, 0].shrunk)) for block in (1, 2)] == [(10.0, False), (5.0, True)]
