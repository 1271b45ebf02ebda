"""The curves of a run: one for each calibration block and line, with its points, or with why there is none."""

from collections.abc import Mapping, Sequence

import numpy as np

from labresults.calculation.calibration import POWERS, Fit, fit, read_back, slope_at, weights_of
from labresults.calculation.curve_points import Points, points_of
from labresults.calculation.run import Array, CurvePoint, FittedCurve, LineSpecification, RunTable
from labresults.terms import CALIBRATING, Curve, FitOn, Weighting

NOTHING = float("nan")
BY_SPREAD = frozenset({Weighting.INVERSE_VARIANCE, Weighting.ABSOLUTE})
"""Weightings that need the spread of the replicates of every point."""


def fit_curves(
    run: RunTable,
    signal: Array,
    spread: Array,
    lines: Mapping[int, LineSpecification],
    solution_unit: str,
    internal_standard: str | None = None,
    rules: int = 1,
) -> dict[tuple[int, int], FittedCurve]:
    """Return the curve of each (block, column), as far as its block has calibration solutions.

    signal, spread : [position x line], after the internal standard, whose line's key is `internal_standard`.
    lines : by column of the run. rules : edition, as `points_of`. Lines of the same shape and weighting, fitted on the
    same thing, are fitted together.
    Raises UnlikeUnits when a standard is given in a unit that does not lead to the solution unit.
    """
    groups: dict[tuple[Curve, Weighting, FitOn], list[int]] = {}
    for column, line in lines.items():
        groups.setdefault((line.curve, line.weighting, line.fit_on), []).append(column)
    curves = {}
    for block, rows in sorted(_calibrating_rows(run).items()):
        for columns in groups.values():
            chosen = [(column, lines[column]) for column in columns]
            points = points_of(run, signal, spread, rows, chosen, solution_unit, internal_standard, rules)
            fitted = _fitted(block, [line for _, line in chosen], points)
            curves.update({(block, column): curve for column, curve in zip(columns, fitted, strict=True)})
    return curves


def _calibrating_rows(run: RunTable) -> dict[int, list[int]]:
    """Return the rows of the calibration solutions of each block, also of a block that has none."""
    rows: dict[int, list[int]] = {position.block: [] for position in run.positions}
    for row, position in enumerate(run.positions):
        if position.role in CALIBRATING:
            rows[position.block].append(row)
    return rows


def _fitted(block: int, lines: Sequence[LineSpecification], points: Points) -> list[FittedCurve]:
    curve, weighting = lines[0].curve, lines[0].weighting
    if points.x.shape[1] == 0:
        return [_without_curve(block, line, "no calibration solutions in this block.") for line in lines]
    shape = points.single_y.shape
    x = np.broadcast_to(np.where(points.used, points.reads, np.nan)[..., None], shape).reshape(len(lines), -1)
    y, s = points.single_y.reshape(len(lines), -1), points.s.reshape(len(lines), -1)
    weights = weights_of(weighting, x, s)
    known = np.where(np.isfinite(weights), weights, 0.0)
    found = fit(x, y, known, POWERS[curve], absolute=weighting is Weighting.ABSOLUTE)
    weight = found.weights.reshape(shape).max(axis=-1)
    return [_curve(block, line, points, found, weight[row], row) for row, line in enumerate(lines)]


def _without_curve(block: int, line: LineSpecification, reason: str) -> FittedCurve:
    return FittedCurve(
        block=block,
        line=line.key,
        curve=line.curve,
        weighting=line.weighting,
        coefficients=(NOTHING, NOTHING, NOTHING),
        standard_errors=(NOTHING, NOTHING, NOTHING),
        covariance=((NOTHING,) * 3,) * 3,
        residual_sd=NOTHING,
        r=NOTHING,
        n=0,
        low=NOTHING,
        high=NOTHING,
        points=(),
        problem=f"{line.key}, block {block}: {reason}",
        fit_on=line.fit_on,
    )


def _curve(block: int, line: LineSpecification, points: Points, found: Fit, weight: Array, row: int) -> FittedCurve:
    powers = list(POWERS[line.curve])
    coefficients, errors, covariance = np.zeros(3), np.zeros(3), np.zeros((3, 3))
    coefficients[powers] = found.coefficients[row]
    errors[powers] = found.standard_errors[row]
    covariance[np.ix_(powers, powers)] = found.covariance[row]
    in_use = points.x[row][weight > 0]
    low, high = (float(in_use.min()), float(in_use.max())) if in_use.size else (NOTHING, NOTHING)
    reason = _problem(line, points, found, row, coefficients, low, high)
    if reason is not None:
        coefficients, errors, covariance = np.full(3, np.nan), np.full(3, np.nan), np.full((3, 3), np.nan)
    b0, b1, b2 = coefficients.tolist()
    return FittedCurve(
        block=block,
        line=line.key,
        curve=line.curve,
        weighting=line.weighting,
        coefficients=(b0, b1, b2),
        standard_errors=(float(errors[0]), float(errors[1]), float(errors[2])),
        covariance=tuple((float(a), float(b), float(c)) for a, b, c in covariance),
        residual_sd=float(found.residual_sd[row]),
        r=float(found.r[row]),
        n=int(found.n[row]),
        low=low,
        high=high,
        points=_curve_points(points, weight, row, coefficients, (low + high) / 2.0),
        problem=None if reason is None else f"{line.key}, block {block}: {reason}",
        fit_on=line.fit_on,
    )


def _problem(
    line: LineSpecification, points: Points, found: Fit, row: int, coefficients: Array, low: float, high: float
) -> str | None:
    """Return why there is no curve; None where there is one."""
    used = points.used[row] & np.isfinite(points.x[row]) & np.isfinite(points.y[row])
    return (
        _fault_of_a_point(line, points, row, np.flatnonzero(used).tolist())
        or _too_few(line, points, int(used.sum()), coefficients)
        or _turns(line, coefficients, low, high)
    )


def _fault_of_a_point(line: LineSpecification, points: Points, row: int, used: Sequence[int]) -> str | None:
    for i in used:
        if (row, i) in points.faults:
            return points.faults[row, i]
        if line.weighting in BY_SPREAD and not (points.s[row, i] > 0).any():
            return (
                f"position {points.numbers[i]} has no spread of its replicates, and the weights are "
                f"{line.weighting.value}. Read it in at least two replicates, leave it out, or weight by concentration."
            )
    return None


def _too_few(line: LineSpecification, points: Points, used: int, coefficients: Array) -> str | None:
    if np.isfinite(coefficients).all():
        return None
    return (
        f"{used} of {len(points.numbers)} calibration solutions can be used, and a {line.curve.value} "
        f"needs at least {len(POWERS[line.curve])} different concentrations. Read more standards, or choose a simpler "
        "curve."
    )


def _turns(line: LineSpecification, coefficients: Array, low: float, high: float) -> str | None:
    ends = np.array([[low], [high]]) if line.curve is not Curve.LINE_THROUGH_ZERO else np.array([[high]])
    slopes = slope_at(coefficients[None, :], ends)[:, 0]
    if np.all(slopes > 0) or np.all(slopes < 0):
        return None
    return (
        "the curve does not rise or fall throughout its range, so that a signal would have two concentrations. "
        "Look at the standards, or choose a straight line."
    )


def _curve_points(
    points: Points, weight: Array, row: int, coefficients: Array, middle: float
) -> tuple[CurvePoint, ...]:
    """Return every point whose concentration is known, with what the curve reads back from its own signal."""
    pretended = points.reads[row] - points.x[row]
    back = read_back(coefficients[None, :], np.array([middle]), points.y[row][:, None])[:, 0] - pretended
    known = np.flatnonzero(np.isfinite(points.x[row]))
    return tuple(
        CurvePoint(
            position=points.numbers[i],
            x=float(points.x[row, i]),
            y=float(points.y[row, i]),
            weight=float(weight[i]),
            read_back=float(back[i]),
            residual_percent=_residual_percent(float(points.x[row, i]), float(back[i])),
            used=bool(weight[i] > 0),
            pretended=float(pretended[i]),
        )
        for i in known
    )


def _residual_percent(x: float, back: float) -> float | None:
    return None if x == 0 else 100.0 * (back - x) / x
