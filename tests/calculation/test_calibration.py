"""Fits against certified data, and concentrations read back against published examples."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import stdtrit

from labresults.calculation.calibration import POWERS, Inverse, fit, read_back, signal_at, u_of_read_back, weights_of
from labresults.calculation.run import Array
from labresults.terms import Curve, Weighting
from tests.calculation.published import as_printed, published, to_digits

REGRESSION = published("regression")
CALIBRATION = published("calibration")


def one_line(values: list[float]) -> Array:
    return np.array([values], dtype=np.float64)


@pytest.mark.parametrize(
    ("name", "powers", "digits"),
    [("norris", (0, 1), 12), ("noint1", (1,), 13), ("pontius", (0, 1, 2), 12)],
    ids=["norris", "noint1", "pontius"],
)
def test_a_fit_agrees_with_certified_values(name: str, powers: tuple[int, ...], digits: int) -> None:
    # given certified data
    case = REGRESSION[name]
    x, y, expected = one_line(case["inputs"]["x"]), one_line(case["inputs"]["y"]), case["expected"]
    # when a curve is fitted without weights
    found = fit(x, y, np.ones_like(x), powers)
    # then every certified value is met
    for place, power in enumerate(powers):
        assert found.coefficients[0, place] == to_digits(expected[f"B{power}"], digits)
        assert found.standard_errors[0, place] == to_digits(expected[f"se_B{power}"], digits)
    assert found.residual_sd[0] == to_digits(expected["residual_sd"], digits)
    assert found.residual_ss[0] == to_digits(expected["residual_ss"], digits)
    assert found.r[0] ** 2 == to_digits(expected["r_squared"], digits)


def test_an_ill_conditioned_polynomial_keeps_nine_digits() -> None:
    case = REGRESSION["wampler1"]
    x, y = one_line(case["inputs"]["x"]), one_line(case["inputs"]["y"])
    found = fit(x, y, np.ones_like(x), tuple(range(6)))
    assert found.coefficients[0] == pytest.approx([1.0] * 6, rel=1e-9)
    assert found.standard_errors[0] == pytest.approx([0.0] * 6, abs=1e-8)


def test_known_uncertainties_are_not_scaled_by_the_residuals() -> None:
    # given ISO/TS 28037, 6.3: all u(y) known
    case = REGRESSION["known uncertainties"]
    given_, expected = case["inputs"], case["expected"]
    x, y, u = one_line(given_["x"]), one_line(given_["y"]), one_line(given_["u_y"])
    # when the weights are absolute
    found = fit(x, y, u**-2, (0, 1), absolute=True)
    # then the standard uncertainties are those of the example, and so is the concentration read back
    assert found.coefficients[0].tolist() == [as_printed(expected["a"]), as_printed(expected["b"])]
    assert found.standard_errors[0].tolist() == [as_printed(expected["u_a"]), as_printed(expected["u_b"])]
    assert found.covariance[0, 0, 1] == as_printed(expected["cov_ab"])
    assert found.residual_ss[0] == as_printed(expected["chi2_obs"])
    x1, u_x1 = read_with_u(found.coefficients, found.covariance, np.array([given_["inverse"]["u_y"]]), 10.5, 1.0)
    assert (x1, u_x1) == (to_digits(expected["x1"], 12), to_digits(expected["u_x1"], 12))
    # and forward: the signal that the line gives at a concentration that is itself uncertain
    ((y2,), (u_y2,)) = signal_at(
        *padded_with_zeros(found.coefficients, found.covariance),
        np.array([given_["forward"]["x"]]),
        np.array([given_["forward"]["u_x"]]),
    )
    assert (y2, u_y2) == (to_digits(expected["y2"], 12), to_digits(expected["u_y2"], 12))


def test_an_unknown_common_uncertainty_comes_from_the_residuals() -> None:
    case = REGRESSION["unknown common uncertainty"]
    expected = case["expected"]
    x, y = one_line(case["inputs"]["x"]), one_line(case["inputs"]["y"])
    found = fit(x, y, np.ones_like(x), (0, 1))
    assert found.coefficients[0].tolist() == [as_printed(expected["a"]), as_printed(expected["b"])]
    assert found.standard_errors[0].tolist() == [as_printed(expected["u_a"]), as_printed(expected["u_b"])]
    assert found.covariance[0, 0, 1] == as_printed(expected["cov_ab"])
    x1, u_x1 = read_with_u(found.coefficients, found.covariance, found.residual_sd, 10.5, 1.0)
    assert (x1, u_x1) == (as_printed(expected["x1"]), as_printed(expected["u_x1"]))


def padded_with_zeros(coefficients: Array, covariance: Array) -> tuple[Array, Array]:
    """The same straight line as a quadratic without its last term."""
    padded, padded_covariance = np.zeros((1, 3)), np.zeros((1, 3, 3))
    padded[:, :2], padded_covariance[:, :2, :2] = coefficients, covariance
    return padded, padded_covariance


def read_with_u(
    coefficients: Array, covariance: Array, residual_sd: Array, y: float, replicates: float, weight: float = 1.0
) -> tuple[float, float]:
    """Return what a straight line reads at y, and its standard uncertainty."""
    padded, padded_covariance = padded_with_zeros(coefficients, covariance)
    found = read_back(padded, np.array([1.0]), np.array([y]))
    u = u_of_read_back(
        Inverse(padded, padded_covariance, residual_sd), found, np.array([weight]), np.array([replicates])
    )
    return float(found[0]), float(u[0])


def test_cadmium_in_ceramic_ware_is_read_back_with_its_uncertainty() -> None:
    # given QUAM, example A5: fifteen standards, two readings of the sample
    case = CALIBRATION["cadmium"]
    given_, expected = case["inputs"], case["expected"]
    x, y = one_line(given_["concentration_mg_L"]), one_line(given_["absorbance"])
    # when a line is fitted and the mean reading is read back
    found = fit(x, y, np.ones_like(x), (0, 1))
    mean = sum(given_["sample_absorbances"]) / 2
    c0, u_c0 = read_with_u(found.coefficients, found.covariance, found.residual_sd, mean, 2.0)
    # then slope, intercept, correlation, concentration and its uncertainty are those of the guide
    (b0, b1), (s_b0, s_b1) = found.coefficients[0], found.standard_errors[0]
    assert (b1, s_b1) == (as_printed(expected["B1"]), as_printed(expected["s_B1"]))
    assert (b0, s_b0) == (as_printed(expected["B0"]), as_printed(expected["s_B0"]))
    assert found.covariance[0, 0, 1] / (s_b0 * s_b1) == as_printed(expected["corr_B0_B1"])
    assert found.residual_sd[0] == as_printed(expected["residual_sd_S"])
    assert found.r[0] == as_printed(expected["correlation_r"])
    assert (c0, u_c0) == (as_printed(expected["c0"]), as_printed(expected["u_c0"]))


@pytest.mark.parametrize(
    ("y", "replicates", "key"),
    [(2.9, 1, "2.9"), (13.5, 1, "13.5"), (23.0, 1, "23.0"), (13.5, 6, "13.5_m6")],
)
def test_fluorescein_is_read_back_with_its_standard_deviation(y: float, replicates: int, key: str) -> None:
    case = CALIBRATION["fluorescein"]
    x = one_line(case["inputs"]["x_pg_mL"])
    found = fit(x, one_line(case["inputs"]["y"]), np.ones_like(x), (0, 1))
    x0, s_x0 = read_with_u(found.coefficients, found.covariance, found.residual_sd, y, replicates)
    assert s_x0 == as_printed(case["expected"][f"s_x0_at_{key}"])
    assert x0 == as_printed(case["expected"][f"x0_at_{y}"])
    assert found.r[0] == as_printed(case["expected"]["r"])


def test_weights_of_the_replicates_pull_the_line_to_the_precise_points() -> None:
    # given Miller & Miller, example 5.10.1
    case = CALIBRATION["weighted"]
    given_, expected = case["inputs"], case["expected"]
    x, y, s = one_line(given_["x_ug_mL"]), one_line(given_["absorbance"]), one_line(given_["sd"])
    # when fitted with 1/s² and without weights
    weighted = fit(x, y, weights_of(Weighting.INVERSE_VARIANCE, x, s), (0, 1))
    plain = fit(x, y, weights_of(Weighting.NONE, x, s), (0, 1))
    # then both lines are those of the book, and so are the concentrations read back
    assert weighted.coefficients[0].tolist() == [as_printed(expected["a_w"]), as_printed(expected["b_w"])]
    assert plain.coefficients[0].tolist() == [
        as_printed(expected["a_unweighted"]),
        as_printed(expected["b_unweighted"]),
    ]
    for reading in ("0.100", "0.600"):
        x0, _ = read_with_u(weighted.coefficients, weighted.covariance, weighted.residual_sd, float(reading), 1.0)
        assert x0 == as_printed(expected[f"x_at_{reading}"])
    # and the limits of confidence without weights (4 degrees of freedom)
    _, u = read_with_u(plain.coefficients, plain.covariance, plain.residual_sd, 0.1, 1.0)
    assert u * stdtrit(4, 0.975) == as_printed(expected["ci_unweighted_at_0.100"])


@pytest.mark.parametrize(("reading", "weight"), [("0.100", "1.8"), ("0.600", "0.018")])
def test_a_weighted_reading_is_as_sure_as_its_own_weight_says(reading: str, weight: str) -> None:
    # given the weight of the reading, which differs a hundredfold along the line
    case = CALIBRATION["weighted"]
    x, y, s = (one_line(case["inputs"][name]) for name in ("x_ug_mL", "absorbance", "sd"))
    found = fit(x, y, weights_of(Weighting.INVERSE_VARIANCE, x, s), (0, 1))
    # when
    _, u = read_with_u(found.coefficients, found.covariance, found.residual_sd, float(reading), 1.0, float(weight))
    # then it agrees with an independent computation of (s/b) √(1/w0 + 1/n + (y0 - mean y)²/(b² Σ w (x - mean x)²))
    again = case["recomputed"]
    assert found.residual_sd[0] == pytest.approx(again["s_yx_w"], rel=1e-9)
    assert u == pytest.approx(again[f"s_x0w_at_{reading}_w0_{weight}"], rel=1e-9)


def test_absolute_weights_are_the_known_variances() -> None:
    s = one_line([0.5, 2.0, 0.0, float("nan")])
    weights = weights_of(Weighting.ABSOLUTE, one_line([0.0, 1.0, 2.0, 3.0]), s)
    assert weights[0, :2].tolist() == [4.0, 0.25]
    assert np.isnan(weights[0, 2:]).all()


def test_a_visibly_curved_line_is_served_by_a_quadratic_and_its_low_end_by_weights() -> None:
    # given silver at 328.068 nm up to 2500 µg/L
    case = CALIBRATION["silver"]
    x, y = one_line(case["inputs"]["conc_ug_L"]), one_line(case["inputs"]["signal_cps"])
    # when fitted with a line, a quadratic, and a line weighted with 1/x
    line = fit(x, y, np.ones_like(x), POWERS[Curve.LINE])
    quadratic = fit(x, y, np.ones_like(x), POWERS[Curve.QUADRATIC])
    weighted = fit(x, y, weights_of(Weighting.INVERSE_X, x, x), POWERS[Curve.LINE])
    # then the first two agree with an independent computation
    again = case["recomputed"]
    assert line.coefficients[0] == pytest.approx([again["intercept"], again["slope"]], rel=1e-9)
    assert quadratic.coefficients[0] == pytest.approx(again["quadratic_coefficients_low_to_high"], rel=1e-7)
    # and the quadratic leaves a quarter of the scatter, while weights bring 250 µg/L from 6 % off to 1 %
    assert quadratic.residual_sd[0] < 0.3 * line.residual_sd[0]
    lowest = y[0, x[0] == 250].mean()
    off = [
        abs(read_with_u(each.coefficients, each.covariance, each.residual_sd, lowest, 1.0)[0] / 250.0 - 1.0)
        for each in (line, weighted)
    ]
    assert off[0] > 0.06
    assert off[1] < 0.01


def test_the_blank_carries_the_weight_of_the_lowest_standard() -> None:
    x = one_line([0.0, 0.5, 2.0])
    assert weights_of(Weighting.INVERSE_X, x, x).tolist() == [[2.0, 2.0, 0.5]]
    assert weights_of(Weighting.INVERSE_X2, x, x).tolist() == [[4.0, 4.0, 0.25]]


def test_replicates_that_do_not_differ_have_no_weight() -> None:
    spread = one_line([2.0, 0.0, float("nan")])
    weights = weights_of(Weighting.INVERSE_VARIANCE, one_line([0.0, 1.0, 2.0]), spread)
    assert weights[0, 0] == 0.25
    assert np.isnan(weights[0, 1:]).all()


@pytest.mark.parametrize(
    ("coefficients", "middle", "y", "expected"),
    [
        ((1.0, 2.0, 0.0), 5.0, 11.0, 5.0),
        ((0.0, 10.0, -0.25), 5.0, 75.0, 10.0),
        ((0.0, 10.0, 0.25), 5.0, 125.0, 10.0),
        ((0.0, -10.0, 0.25), 5.0, -75.0, 10.0),
        ((0.0, -1.0, 1.0), 5.0, 20.0, 5.0),
        ((3.0, 1000.0, 1e-12), 5.0, 5003.0, 5.0),
    ],
    ids=["line", "bends down", "bends up", "falls", "branch beyond the turn", "hardly bent"],
)
def test_reading_back_takes_the_calibrated_branch(
    coefficients: tuple[float, float, float], middle: float, y: float, expected: float
) -> None:
    found = read_back(np.array([coefficients]), np.array([middle]), np.array([y]))
    assert found[0] == pytest.approx(expected, rel=1e-12)


def test_a_signal_beyond_the_turn_of_the_curve_has_no_concentration() -> None:
    found = read_back(np.array([(0.0, 10.0, -0.25)]), np.array([5.0]), np.array([100.1]))
    assert np.isnan(found[0])


def test_lines_with_different_standards_are_fitted_each_by_its_own() -> None:
    # given two lines in one call, the second without two of the standards
    x = np.array([[0.0, 1.0, 2.0, 4.0], [0.0, np.nan, 20.0, 40.0]])
    y = np.array([[5.0, 15.0, 25.0, 45.0], [7.0, 9.0, 67.0, 127.0]])
    found = fit(x, y, np.ones_like(x), (0, 1))
    assert found.coefficients == pytest.approx(np.array([[5.0, 10.0], [7.0, 3.0]]))
    assert found.n.tolist() == [4, 3]
    assert found.weights[1].tolist() == [1.0, 0.0, 1.0, 1.0]


@pytest.mark.parametrize(
    ("x", "powers"),
    [([1.0, 1.0, 1.0], (0, 1)), ([0.0, 1.0, 1.0], (0, 1, 2)), ([0.0, 0.0, 0.0], (1,)), ([2.0], (0, 1))],
    ids=["one concentration", "two for a quadratic", "only blanks through zero", "one point"],
)
def test_too_few_different_concentrations_give_no_curve(x: list[float], powers: tuple[int, ...]) -> None:
    found = fit(one_line(x), one_line([3.0] * len(x)), np.ones((1, len(x))), powers)
    assert np.isnan(found.coefficients).all()


def test_as_many_points_as_coefficients_give_a_curve_without_uncertainty() -> None:
    found = fit(one_line([0.0, 10.0]), one_line([5.0, 105.0]), np.ones((1, 2)), (0, 1))
    assert found.coefficients[0] == pytest.approx([5.0, 10.0])
    assert np.isnan(found.residual_sd[0])


signals = st.lists(st.floats(1.0, 1e6), min_size=5, max_size=5)


@given(y=signals, constant=st.floats(-1e5, 1e5))
def test_a_constant_added_to_all_signals_changes_only_the_intercept(y: list[float], constant: float) -> None:
    x = one_line([0.0, 1.0, 2.0, 5.0, 10.0])
    before, after = (fit(x, one_line(y) + shift, np.ones_like(x), (0, 1)) for shift in (0.0, constant))
    assert after.coefficients[0, 1] == pytest.approx(before.coefficients[0, 1], rel=1e-9, abs=1e-8)
    assert after.coefficients[0, 0] == pytest.approx(before.coefficients[0, 0] + constant, rel=1e-9, abs=1e-7)


@given(y=signals, scale=st.floats(1e-6, 1e6))
def test_the_scale_of_relative_weights_changes_nothing(y: list[float], scale: float) -> None:
    x = one_line([0.0, 1.0, 2.0, 5.0, 10.0])
    weights = weights_of(Weighting.INVERSE_X, x, x)
    before, after = (fit(x, one_line(y), weights * factor, (0, 1)) for factor in (1.0, scale))
    assert after.coefficients == pytest.approx(before.coefficients, rel=1e-9, abs=1e-8)
    assert after.standard_errors == pytest.approx(before.standard_errors, rel=1e-6, abs=1e-8)
