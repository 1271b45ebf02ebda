"""The curves of a run: one for each calibration block and line, with its points, or with why there is none."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from labresults.calculation.calibration import POWERS, Fit, fit, read_back, slope_at, weights_of
from labresults.calculation.errors import UnlikeUnits
from labresults.calculation.run import Array, CurvePoint, FittedCurve, LineSpecification, Position, RunTable
from labresults.calculation.units import factor
from labresults.terms import CALIBRATING, Curve, Role, Weighting

NOTHING = float("nan")


@dataclass(frozen=True)
class Points:
    """What the curves of a block are fitted to: x in the solution unit, y and s in the signal's, [line x point]."""

    numbers: tuple[int, ...]
    x: Array
    y: Array
    s: Array
    used: NDArray[np.bool_]


def standard_concentration(position: Position, element: str, solution_unit: str) -> float:
    """Return what a calibration solution holds of an element, in the solution unit; NaN where it is not said.

    A calibration blank holds nothing unless it says otherwise. Raises UnlikeUnits for a unit that does not lead there.
    """
    expected = position.expected.get(element)
    if expected is None:
        return 0.0 if position.role is Role.CALIBRATION_BLANK else NOTHING
    if expected.unit == solution_unit:
        return expected.value
    try:
        return expected.value * float(factor(expected.unit, solution_unit))
    except UnlikeUnits as error:
        raise UnlikeUnits(f"{position.label}: {error} The curve of {element} is in {solution_unit}.") from error


def fit_curves(
    run: RunTable, signal: Array, spread: Array, lines: Mapping[int, LineSpecification], solution_unit: str
) -> dict[tuple[int, int], FittedCurve]:
    """Return the curve of each (block, column), as far as its block has calibration solutions.

    signal, spread : [position x line], after the internal standard. lines : by column of the run.
    Lines of the same shape and weighting are fitted together.
    Raises UnlikeUnits when a standard is given in a unit that does not lead to the solution unit.
    """
    groups: dict[tuple[Curve, Weighting], list[int]] = {}
    for column, line in lines.items():
        groups.setdefault((line.curve, line.weighting), []).append(column)
    curves = {}
    for block in sorted({position.block for position in run.positions}):
        rows = [i for i, at in enumerate(run.positions) if at.block == block and at.role in CALIBRATING]
        for columns in groups.values():
            points = _points(run, signal, spread, rows, [(column, lines[column]) for column in columns], solution_unit)
            fitted = _fitted(block, [lines[column] for column in columns], points)
            curves.update({(block, column): curve for column, curve in zip(columns, fitted, strict=True)})
    return curves


def _points(
    run: RunTable,
    signal: Array,
    spread: Array,
    rows: Sequence[int],
    lines: Sequence[tuple[int, LineSpecification]],
    solution_unit: str,
) -> Points:
    columns = [column for column, _ in lines]
    solutions = [run.positions[row] for row in rows]
    x = [[standard_concentration(at, line.element, solution_unit) for at in solutions] for _, line in lines]
    used = [[at.used and (at.number, line.key) not in run.left_out for at in solutions] for _, line in lines]
    shape = (len(lines), len(rows))
    saturated = run.saturated[np.ix_(rows, columns)].T
    return Points(
        numbers=tuple(at.number for at in solutions),
        x=np.array(x, dtype=np.float64).reshape(shape),
        y=np.where(saturated, np.nan, signal[np.ix_(rows, columns)].T),
        s=spread[np.ix_(rows, columns)].T,
        used=np.array(used, dtype=np.bool_).reshape(shape),
    )


def _fitted(block: int, lines: Sequence[LineSpecification], points: Points) -> list[FittedCurve]:
    curve, weighting = lines[0].curve, lines[0].weighting
    x = np.where(points.used, points.x, np.nan)
    if x.shape[1] == 0:
        return [_without_curve(block, line, "no calibration solutions in this block.") for line in lines]
    weights = weights_of(weighting, x, points.s)
    found = fit(x, points.y, np.where(np.isfinite(weights), weights, 0.0), POWERS[curve])
    return [_curve(block, line, points, found, row) for row, line in enumerate(lines)]


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
    )


def _curve(block: int, line: LineSpecification, points: Points, found: Fit, row: int) -> FittedCurve:
    powers = list(POWERS[line.curve])
    coefficients, errors, covariance = np.zeros(3), np.zeros(3), np.zeros((3, 3))
    coefficients[powers] = found.coefficients[row]
    errors[powers] = found.standard_errors[row]
    covariance[np.ix_(powers, powers)] = found.covariance[row]
    in_use = points.x[row][found.weights[row] > 0]
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
        points=_curve_points(points, found, row, coefficients, (low + high) / 2.0),
        problem=None if reason is None else f"{line.key}, block {block}: {reason}",
    )


def _problem(
    line: LineSpecification, points: Points, found: Fit, row: int, coefficients: Array, low: float, high: float
) -> str | None:
    """Return why there is no curve; None where there is one."""
    used = points.used[row] & np.isfinite(points.x[row]) & np.isfinite(points.y[row])
    if line.weighting is Weighting.INVERSE_VARIANCE and (used & ~(points.s[row] > 0)).any():
        bare = [points.numbers[i] for i in np.flatnonzero(used & ~(points.s[row] > 0))]
        return (
            f"position {bare[0]} has no spread of its replicates, and the weights are 1/s². Read it in at least two "
            "replicates, leave it out, or weight by concentration."
        )
    needed = len(POWERS[line.curve])
    if not np.isfinite(coefficients).all():
        return (
            f"{int(used.sum())} of {len(points.numbers)} calibration solutions can be used, and a {line.curve.value} "
            f"needs at least {needed} different concentrations. Read more standards, or choose a simpler curve."
        )
    ends = np.array([[low], [high]]) if line.curve is not Curve.LINE_THROUGH_ZERO else np.array([[high]])
    slopes = slope_at(coefficients[None, :], ends)[:, 0]
    if not (np.all(slopes > 0) or np.all(slopes < 0)):
        return (
            "the curve does not rise or fall throughout its range, so that a signal would have two concentrations. "
            "Look at the standards, or choose a straight line."
        )
    return None


def _curve_points(points: Points, found: Fit, row: int, coefficients: Array, middle: float) -> tuple[CurvePoint, ...]:
    """Return every point whose concentration is known, with what the curve reads back from its own signal."""
    back = read_back(coefficients[None, :], np.array([middle]), points.y[row][:, None])[:, 0]
    known = np.flatnonzero(np.isfinite(points.x[row]))
    return tuple(
        CurvePoint(
            position=points.numbers[i],
            x=float(points.x[row, i]),
            y=float(points.y[row, i]),
            weight=float(found.weights[row, i]),
            read_back=float(back[i]),
            residual_percent=_residual_percent(float(points.x[row, i]), float(back[i])),
            used=bool(found.weights[row, i] > 0),
        )
        for i in known
    )


def _residual_percent(x: float, back: float) -> float | None:
    return None if x == 0 else 100.0 * (back - x) / x
