"""Fit a calibration function by weighted least squares and read concentrations back from it.

Many lines are fitted at once. The design is scaled by the largest concentration of a line and solved by its QR
decomposition, with one step of refinement, so that no normal equations are formed.

References: ISO/TS 28037:2010 (known uncertainties, clause 6; unknown common uncertainty, annex E); EURACHEM/CITAC QUAM
(2012), example A5, for the uncertainty of a concentration that is read back; NIST StRD for the check values.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from labresults.calculation.run import Array
from labresults.terms import Curve, Weighting

POWERS = {Curve.LINE: (0, 1), Curve.LINE_THROUGH_ZERO: (1,), Curve.QUADRATIC: (0, 1, 2)}
"""The powers of the concentration that each shape holds."""


@dataclass(frozen=True)
class Fit:
    """A fit of many lines at once; NaN for a line with too few different concentrations.

    coefficients, standard_errors [line x power]; covariance [line x power x power]; residual_sd, residual_ss, r [line],
    in the unit of y, its square and [1]; n, degrees_of_freedom [line]; weights [line x point], zero for a point that is
    not used, else scaled to a mean of one unless they are absolute.
    """

    coefficients: Array
    standard_errors: Array
    covariance: Array
    residual_sd: Array
    residual_ss: Array
    r: Array
    n: NDArray[np.int64]
    degrees_of_freedom: NDArray[np.int64]
    weights: Array


def weights_of(weighting: Weighting, x: Array, spread: Array) -> Array:
    """Return the weight of each point, [line x point], before scaling; NaN where it cannot be had.

    x : concentrations, at least zero. spread : standard deviations of the replicates, unit of the signal.
    A blank (x = 0) has no weight of its own under 1/x and 1/x²: it carries the weight of the lowest standard.
    Under 1/s², relative or absolute, a point whose replicates do not differ, or are fewer than two, has no weight.
    """
    if weighting is Weighting.NONE:
        return np.where(np.isfinite(x), 1.0, np.nan)
    if weighting in (Weighting.INVERSE_VARIANCE, Weighting.ABSOLUTE):
        return np.where(spread > 0, 1.0 / np.where(spread > 0, spread, 1.0) ** 2, np.nan)
    size = np.abs(x)
    lowest = np.min(np.where(size > 0, size, np.inf), axis=-1, keepdims=True)
    base = np.where(size > 0, size, lowest)
    return base ** (-1.0 if weighting is Weighting.INVERSE_X else -2.0)


def fit(x: Array, y: Array, weights: Array, powers: tuple[int, ...], *, absolute: bool = False) -> Fit:
    """Fit y = sum of b_p x**p over `powers` for every line by weighted least squares.

    x, y, weights : [line x point]; a point with a NaN, or with a weight that is not above zero, is not used.
    absolute : the weights are 1/u(y)², known; the covariance is then not scaled by the residuals (ISO/TS 28037,
    clause 6). Else the weights are relative (annex E, and usual practice): their common scale changes nothing.
    r is the square root of the explained share, with the sign of the slope; without a constant term the share is
    taken of the uncorrected sum of squares (NIST StRD, NoInt1).
    """
    used = np.isfinite(x) & np.isfinite(y) & (weights > 0)
    n = used.sum(axis=-1)
    w = np.where(used, weights, 0.0)
    if not absolute:
        w = w / np.where(n > 0, w.sum(axis=-1) / np.maximum(n, 1), 1.0)[:, None]
    solvable = _different(np.where(used, x, np.nan), powers) >= len(powers)
    root = np.sqrt(np.where(solvable[:, None], w, 0.0))
    scale = _scale(x, used)
    design, b = _padded(_design(np.where(used, x, 0.0), scale, powers) * root[..., None], np.where(used, y, 0.0) * root)
    design[~solvable] = np.eye(design.shape[1], len(powers))
    solution, inverse = _solve(design, b)
    residual_ss = ((b - np.einsum("lnp,lp->ln", design, solution)) ** 2).sum(axis=-1)
    freedom = n - len(powers)
    variance = np.where(freedom > 0, residual_ss / np.maximum(freedom, 1), np.nan)
    unscale = scale[:, None] ** -np.array(powers, dtype=np.float64)
    covariance = inverse @ inverse.transpose(0, 2, 1) * unscale[:, :, None] * unscale[:, None, :]
    if not absolute:
        covariance = covariance * variance[:, None, None]
    covariance[~solvable] = np.nan
    return Fit(
        coefficients=np.where(solvable[:, None], solution * unscale, np.nan),
        standard_errors=np.sqrt(np.einsum("lpp->lp", covariance)),
        covariance=covariance,
        residual_sd=np.where(solvable, np.sqrt(variance), np.nan),
        residual_ss=np.where(solvable, residual_ss, np.nan),
        r=np.where(solvable, _correlation(x, y, w, residual_ss, centred=0 in powers), np.nan),
        n=n,
        degrees_of_freedom=freedom,
        weights=w,
    )


def _different(x: Array, powers: tuple[int, ...]) -> NDArray[np.int64]:
    """Return how many different concentrations each line has; zero does not count without a constant term."""
    ordered = np.sort(x, axis=-1)
    is_new = np.isfinite(ordered)
    is_new[:, 1:] &= ordered[:, 1:] != ordered[:, :-1]
    if 0 not in powers:
        is_new &= ordered != 0
    return np.asarray(is_new.sum(axis=-1), dtype=np.int64)


def _scale(x: Array, used: NDArray[np.bool_]) -> Array:
    largest = np.max(np.where(used, np.abs(x), 0.0), axis=-1, initial=0.0)
    return np.where(largest > 0, largest, 1.0)


def _design(x: Array, scale: Array, powers: tuple[int, ...]) -> Array:
    return np.stack([(x / scale[:, None]) ** power for power in powers], axis=-1)


def _padded(design: Array, b: Array) -> tuple[Array, Array]:
    """Return both with rows of zeros appended: QR then stays square where there are fewer points than powers."""
    lines, points, powers = design.shape
    if points >= powers:
        return design, b
    lacking = powers - points
    return (
        np.concatenate([design, np.zeros((lines, lacking, powers))], axis=1),
        np.concatenate([b, np.zeros((lines, lacking))], axis=1),
    )


def _solve(design: Array, b: Array) -> tuple[Array, Array]:
    """Return the least-squares solution [line x power] and the inverse of R [line x power x power]."""
    q, r = np.linalg.qr(design)
    inverse = np.linalg.solve(r, np.broadcast_to(np.eye(r.shape[-1]), r.shape))
    solution = _back(q, r, b)
    residual = b - np.einsum("lnp,lp->ln", design, solution)
    return solution + _back(q, r, residual), inverse


def _back(q: Array, r: Array, b: Array) -> Array:
    found: Array = np.linalg.solve(r, np.einsum("lnp,ln->lp", q, b)[..., None])[..., 0]
    return found


def _correlation(x: Array, y: Array, w: Array, residual_ss: Array, *, centred: bool) -> Array:
    x, y = np.where(w > 0, x, 0.0), np.where(w > 0, y, 0.0)
    total = np.maximum(w.sum(axis=-1, keepdims=True), np.finfo(float).tiny)
    if centred:
        x = np.where(w > 0, x - (w * x).sum(axis=-1, keepdims=True) / total, 0.0)
        y = np.where(w > 0, y - (w * y).sum(axis=-1, keepdims=True) / total, 0.0)
    spread = (w * y**2).sum(axis=-1)
    explained = 1.0 - residual_ss / np.where(spread > 0, spread, np.nan)
    r: Array = np.sign((w * x * y).sum(axis=-1)) * np.sqrt(np.maximum(explained, 0.0))
    return r


def signal_at(coefficients: Array, covariance: Array, x: Array, u_x: Array | float = 0.0) -> tuple[Array, Array]:
    """Return the signal that a curve predicts at concentrations, [... x line], and its standard uncertainty.

    u(y0)² = g' C g + (dy/dx)² u(x0)², g = (1, x0, x0²): of the curve and of the concentration, not of a reading there
    (ISO/TS 28037:2010, 6.3, where the line is used forward).
    coefficients : [line x 3], ascending; covariance : [line x 3 x 3]. x, u_x : [... x line], in the solution unit.
    """
    g = np.stack([np.ones_like(x), x, x**2], axis=-1)
    of_curve = np.einsum("...lp,lpq,...lq->...l", g, covariance, g)
    y: Array = np.einsum("...lp,lp->...l", g, coefficients)
    return y, np.sqrt(of_curve + (slope_at(coefficients, x) * u_x) ** 2)


def slope_at(coefficients: Array, x: Array) -> Array:
    """Return dy/dx at x, [... x line], of b0 + b1 x + b2 x²; coefficients : [line x 3]."""
    return coefficients[:, 1] + 2.0 * coefficients[:, 2] * x


def read_back(coefficients: Array, middle: Array, y: Array) -> Array:
    """Return the concentration at which the curve gives y, [... x line]; NaN where the curve never gets there.

    coefficients : [line x 3], ascending. middle : [line], a concentration on the calibrated branch.
    A quadratic has two such concentrations; the one on the branch of `middle` is meant. Of the two ways to write that
    root, the one without a difference of nearly equal numbers is taken (common practice, no source).
    """
    b0, b1, b2 = coefficients[:, 0], coefficients[:, 1], coefficients[:, 2]
    c = b0 - y
    inside = b1**2 - 4.0 * b2 * c
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.sign(slope_at(coefficients, middle)) * np.sqrt(inside)
        straight = -c / b1
        same_sign = -2.0 * c / (b1 + root)
        other_sign = (root - b1) / (2.0 * b2)
        curved = np.where(np.sign(b1) == np.sign(root), same_sign, other_sign)
        found = np.where(b2 == 0.0, straight, curved)
    return np.where(np.isfinite(found), found, np.nan)


@dataclass(frozen=True)
class Inverse:
    """What the uncertainty of a concentration that is read back stands on.

    coefficients [line x 3]; covariance [line x 3 x 3]; residual_sd [line], in the unit of y.
    """

    coefficients: Array
    covariance: Array
    residual_sd: Array


def u_of_read_back(curve: Inverse, x: Array, weight: Array, replicates: Array) -> Array:
    """Return the standard uncertainty of concentrations read back from a curve, [... x line].

    u(x0)² = (s²/(w0 p) + g' C g) / (dy/dx)², g = (1, x0, x0²): for an unweighted straight line this is
    (s/b1)² (1/p + 1/n + (x0 - mean x)²/Sxx), as in QUAM (2012), example A5.
    x : [... x line]. weight : w0, of a reading there, on the scale of the fit's weights. replicates : p, at least one.
    """
    g = np.stack([np.ones_like(x), x, x**2], axis=-1)
    of_curve = np.einsum("...lp,lpq,...lq->...l", g, curve.covariance, g)
    of_reading = curve.residual_sd**2 / (weight * replicates)
    with np.errstate(divide="ignore", invalid="ignore"):
        u = np.sqrt(of_reading + of_curve) / np.abs(slope_at(curve.coefficients, x))
    return np.where(np.isfinite(u), u, np.nan)
