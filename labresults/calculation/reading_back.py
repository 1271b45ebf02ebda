"""What is read at every position, through its curve or by standard additions, over which range, and how surely."""

from collections.abc import Mapping, Sequence

import numpy as np

from labresults.calculation.calibration import Inverse, read_back, signal_at, u_of_read_back
from labresults.calculation.run import (
    Array,
    CurveQuality,
    FittedCurve,
    LineSpecification,
    MethodSpecification,
    RunTable,
)
from labresults.calculation.standard_addition import AdditionResult, additions_of
from labresults.terms import FitOn, Role, Weighting


def read_all(
    run: RunTable, signal: Array, curves: Mapping[tuple[int, int], FittedCurve], rules: int
) -> tuple[Array, Array]:
    """Return concentrations and their standard uncertainties, [position x line], in the solution unit.

    signal : after the internal standard. curves : by (block, column); NaN where there is none.
    A reading counts as the mean of as many observations as the fit's own points are: of its replicates where single
    ones were fitted; where means were, of its replicates for each one of theirs. By the first edition of the rules,
    always of its replicates.
    """
    read, u = np.full_like(signal, np.nan), np.full_like(signal, np.nan)
    blocks = np.array([position.block for position in run.positions])
    row_of = {position.number: row for row, position in enumerate(run.positions)}
    for block in sorted({at for at, _ in curves}):
        rows = np.flatnonzero(blocks == block)
        columns = np.array([column for at, column in curves if at == block])
        at = np.ix_(rows, columns)
        chosen = [curves[block, int(column)] for column in columns]
        count = np.maximum(run.count[at], 1.0)
        if rules > 1:
            count = count / _fitted_counts(run, chosen, columns.tolist(), row_of)
        read[at], u[at] = _read_block(chosen, signal[at], count)
    return read, u


def _fitted_counts(
    run: RunTable, curves: Sequence[FittedCurve], columns: Sequence[int], row_of: Mapping[int, int]
) -> Array:
    """Return of how many replicates a fitted point is the mean, [line]; 1 where single ones were fitted."""
    counts = []
    for curve, column in zip(curves, columns, strict=True):
        rows = [row_of[point.position] for point in curve.points if point.used]
        on_means = curve.fit_on is FitOn.MEANS and bool(rows)
        counts.append(float(np.maximum(run.count[rows, column], 1.0).mean()) if on_means else 1.0)
    return np.array(counts)


def _read_block(curves: list[FittedCurve], signal: Array, count: Array) -> tuple[Array, Array]:
    coefficients = np.array([curve.coefficients for curve in curves])
    middle = np.array([(curve.low + curve.high) / 2.0 for curve in curves])
    # Where s is known, the weights are 1/s² themselves and the residuals scale nothing.
    scale = [1.0 if curve.weighting is Weighting.ABSOLUTE else curve.residual_sd for curve in curves]
    inverse = Inverse(coefficients, np.array([curve.covariance for curve in curves]), np.array(scale))
    x = read_back(coefficients, middle, signal)
    weight = np.stack([_weight_at(curve, x[:, i]) for i, curve in enumerate(curves)], axis=-1)
    return x, u_of_read_back(inverse, x, weight, count)


def _weight_at(curve: FittedCurve, x: Array) -> Array:
    """Return the weight of a reading at x, between those of the standards beside it: 1/√w is taken as linear in x.

    Beyond the standards it is that of the nearest (common practice, no source).
    """
    used = sorted((point.reads, point.weight**-0.5) for point in curve.points if point.used)
    if not used:
        return np.full_like(x, np.nan)
    places, roots = zip(*used, strict=True)
    return np.asarray(np.interp(x, places, roots) ** -2.0, dtype=np.float64)


def predicted_signals(curve: FittedCurve, x: Sequence[float]) -> list[tuple[float, float]]:
    """Return what a curve gives at each concentration [solution unit], and its standard uncertainty, as signals."""
    y, u = signal_at(np.array([curve.coefficients]), np.array([curve.covariance]), np.array(x, dtype=float)[:, None])
    return list(zip(y[:, 0].tolist(), u[:, 0].tolist(), strict=True))


def u_of_replicates(run: RunTable) -> Array:
    """Return s/√n of the replicates, [position x line], in the unit of the readings; NaN for a single one.

    JCGM 100:2008 (GUM), 4.2.3: all that is known where the instrument calibrates.
    """
    return np.asarray(run.spread / np.sqrt(np.maximum(run.count, 1.0)), dtype=np.float64)


def ranges_in_use(
    run: RunTable, lines: Mapping[int, LineSpecification], found: Mapping[tuple[int, int], CurveQuality]
) -> tuple[Array, Array]:
    """Return the top of the working range and the quantification limit, [position x line]; NaN at other lines.

    They are the line's own, unless points that were left out took something of the range.
    """
    tops, limits = np.full(run.signal.shape, np.nan), np.full(run.signal.shape, np.nan)
    blocks = np.array([position.block for position in run.positions])
    for column, line in lines.items():
        tops[:, column], limits[:, column] = line.range_top, line.quantification_limit
    for (block, column), quality in found.items():
        own = blocks == block
        if quality.top is not None:
            tops[own, column] = min(quality.top, lines[column].range_top)
        if quality.bottom is not None:
            limits[own, column] = max(quality.bottom, lines[column].quantification_limit)
    return tops, limits


def with_additions(
    run: RunTable,
    method: MethodSpecification,
    lines: Mapping[int, LineSpecification],
    usable: Array,
    read: Array,
    u: Array,
) -> tuple[dict[tuple[int, int], AdditionResult], Array, Array]:
    """Return what standard additions give, by (row, column), and the readings and uncertainties with it in place.

    usable : through the curve, NaN over the working range. A sample that is itself over range keeps its reading, so
    that it is seen; one without additions, or whose additions give nothing, has none.
    """
    additions: dict[tuple[int, int], AdditionResult] = {}
    if not method.by_additions:
        return additions, read, u
    read, u = read.copy(), u.copy()
    rows = [row for row, position in enumerate(run.positions) if position.role is Role.SAMPLE]
    for column in lines:
        found = additions_of(run, usable, column)
        for row in rows:
            if not np.isfinite(usable[row, column]):
                continue
            read[row, column] = u[row, column] = np.nan
            if row in found:
                additions[row, column] = found[row]
                read[row, column], u[row, column] = found[row].found, found[row].u
    return additions, read, u
