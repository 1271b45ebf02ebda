"""How good the curves of a run are, and over which range they can be used.

References: EPA Method 6010D (2018), 10.7, relative standard error and the lowest standard; ISO/TS 28037:2010, clause 6,
χ² of the residuals where uncertainties are known; N. R. Draper, H. Smith, Applied Regression Analysis, 3rd ed. (1998),
2.1, F test of lack of fit against pure error (from memory).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isclose, isfinite

import numpy as np
from scipy.special import chdtrc, fdtrc

from labresults.calculation.calibration import POWERS, fit
from labresults.calculation.curve_points import replicates_at
from labresults.calculation.replicates import summarise
from labresults.calculation.run import Array, CurvePoint, CurveQuality, FittedCurve, LineSpecification, RunTable
from labresults.terms import Curve, FitOn, Weighting


def qualities(
    run: RunTable,
    lines: Mapping[int, LineSpecification],
    curves: Mapping[tuple[int, int], FittedCurve],
    solution_unit: str,
    rules: int,
    internal_standard: str | None = None,
) -> dict[tuple[int, int], CurveQuality]:
    """Return the quality of each curve by (block, column), none by the first edition of the rules.

    lines : by column of the run. internal_standard : key of its line. Where there is no curve, only the line's own top
    is said.
    """
    if rules < 2:
        return {}
    row_of = {position.number: row for row, position in enumerate(run.positions)}
    found = {}
    for (block, column), curve in curves.items():
        line = lines[column]
        if curve.problem is not None:
            found[block, column] = CurveQuality(block, line.key, bottom=None, top=line.range_top)
            continue
        replicated = [_replicated(run, row_of[p.position], column, p, curve, internal_standard) for p in _in_use(curve)]
        lack = lack_of_fit(replicated, curve.curve, s_is_known=curve.weighting is Weighting.ABSOLUTE)
        found[block, column] = _quality(line, curve, solution_unit, lack)
    return found


def _quality(line: LineSpecification, curve: FittedCurve, unit: str, lack: tuple[float, float] | None) -> CurveQuality:
    bottom, top = working_range(curve.points, line.quantification_limit, line.range_top)
    return CurveQuality(
        block=curve.block,
        line=line.key,
        bottom=bottom,
        top=top,
        standard_error_percent=relative_standard_error(curve.points, len(POWERS[curve.curve])),
        lowest_error_percent=lowest_error(curve.points),
        lack_of_fit_f=lack[0] if lack else None,
        lack_of_fit_p=lack[1] if lack else None,
        shrunk=shrunk_words(curve.points, line.quantification_limit, line.range_top, unit),
        unsupported=unsupported_words(curve.points, line.quantification_limit, line.range_top, unit),
    )


# ---------------------------------------------------------------- errors at the standards


def relative_standard_error(points: Sequence[CurvePoint], coefficients: int) -> float | None:
    """Return 100 √(Σ((read back − true)/true)² / (n − p)) [%] over the n standards in use that are not blanks.

    p : number of coefficients of the curve. None for n up to p. EPA Method 6010D (2018), 10.7.
    """
    errors = [p.residual_percent for p in points if p.used and p.residual_percent is not None]
    freedom = len(errors) - coefficients
    if freedom < 1 or not all(isfinite(error) for error in errors):
        return None
    return float((sum(error**2 for error in errors) / freedom) ** 0.5)


def lowest_error(points: Sequence[CurvePoint]) -> float | None:
    """Return the read-back error [%] at the lowest standard in use that is not a blank, with its sign.

    Where the lowest was measured at several positions: the error that is largest in size. None without such a standard.
    """
    standards = _standards(points)
    lowest = min((p.x for p in standards), default=None)
    errors = [p.residual_percent for p in standards if p.x == lowest and p.residual_percent is not None]
    return max(errors, key=abs, default=None) if all(isfinite(error) for error in errors) else None


# ---------------------------------------------------------------- the working range in use


def working_range(
    points: Sequence[CurvePoint], quantification_limit: float, range_top: float
) -> tuple[float | None, float]:
    """Return bottom and top of the working range in use, in the unit of x.

    The top is the method's, unless a standard above the highest one in use is not used: then the curve stands on
    nothing above that highest one. The bottom is None, and the quantification limit counts, unless a standard below the
    lowest one in use is not used and that lowest one is above the quantification limit.
    """
    below, above = _missing(points)
    standards = _standards(points)
    bottom, top = None, range_top
    if below and standards:
        lowest = min(p.x for p in standards)
        bottom = lowest if _is_above(lowest, quantification_limit) else None
    if above:
        top = min(range_top, max((p.x for p in points if p.used), default=range_top))
    return bottom, top


def shrunk_words(points: Sequence[CurvePoint], quantification_limit: float, range_top: float, unit: str) -> str:
    """Return in words what points that are not used took of the working range; empty where they took nothing."""
    below, above = _missing(points)
    bottom, top = working_range(points, quantification_limit, range_top)
    said = []
    if bottom is not None:
        said.append(_sentence(below, f"starts at {bottom:g} {unit}", unit))
    if top < range_top:
        said.append(_sentence(above, f"ends at {top:g} {unit}", unit))
    return " ".join(said)


def unsupported_words(points: Sequence[CurvePoint], quantification_limit: float, range_top: float, unit: str) -> str:
    """Return in words that results at the quantification limit stand on no standard; empty where they do.

    EPA Method 6010D (2018), 10.7: the lowest standard is at or below the quantification limit.
    """
    bottom, _ = working_range(points, quantification_limit, range_top)
    lowest = min((p.x for p in _standards(points)), default=None)
    if lowest is None or bottom is not None or not _is_above(lowest, quantification_limit):
        return ""
    return (
        f"The lowest standard in use, {lowest:g} {unit}, is above the quantification limit of {quantification_limit:g} "
        f"{unit}: results between the two stand on no standard (EPA 6010D, 10.7)."
    )


def _in_use(curve: FittedCurve) -> list[CurvePoint]:
    return [point for point in curve.points if point.used]


def _standards(points: Sequence[CurvePoint]) -> list[CurvePoint]:
    return [point for point in points if point.used and point.x > 0]


def _missing(points: Sequence[CurvePoint]) -> tuple[list[CurvePoint], list[CurvePoint]]:
    """Return the points that are not used below the lowest standard in use, and those above the highest.

    A blank that is not used counts as below unless another blank is in use.
    """
    used = [point.x for point in points if point.used]
    lowest = min((x for x in used if x > 0), default=0.0)
    unused = [point for point in points if not point.used]
    below = [point for point in unused if _is_above(lowest, point.x) and point.x not in used]
    highest = max(used, default=float("inf"))
    return below, [point for point in unused if _is_above(point.x, highest)]


def _is_above(x: float, other: float) -> bool:
    """Return whether x is above another concentration by more than a conversion of units leaves in its last bits."""
    return x > other and not isclose(x, other, rel_tol=1e-12)


def _sentence(missing: Sequence[CurvePoint], what: str, unit: str) -> str:
    told = ", ".join(
        f"position {point.position} ({point.x:g} {unit}) {'was left out' if _is_read(point) else 'gave no reading'}"
        for point in missing
    )
    return f"{told[0].upper()}{told[1:]}: the working range {what}."


def _is_read(point: CurvePoint) -> bool:
    return isfinite(point.y)


# ---------------------------------------------------------------- the shape


@dataclass(frozen=True)
class Replicated:
    """A calibration solution as the test of the shape needs it: mean, sd and number of its replicates.

    weight : of a single replicate, on any common scale, or 1/s² where s is known. sd : None where it is not known.
    """

    x: float
    mean: float
    sd: float | None
    count: int
    weight: float


def _replicated(
    run: RunTable, row: int, column: int, point: CurvePoint, curve: FittedCurve, internal_standard: str | None
) -> Replicated:
    values = replicates_at(run, row, curve.line, internal_standard)
    count = max(int(run.count[row, column]), 1)
    weight = point.weight
    if curve.weighting is Weighting.ABSOLUTE and curve.fit_on is FitOn.MEANS:
        weight = weight / count  # that of the mean is of as many single ones
    if values and not isinstance(values, str):
        each = summarise(values)
        return Replicated(point.reads, point.y, each.sd, each.count, weight)
    sd = float(run.spread[row, column]) if internal_standard is None else float("nan")
    return Replicated(point.reads, point.y, sd if isfinite(sd) else None, count, weight)


def lack_of_fit(
    solutions: Sequence[Replicated], curve: Curve, *, s_is_known: bool = False
) -> tuple[float, float] | None:
    """Return F of the lack of fit and the probability of so large an F, were the shape right; None where impossible.

    The shape is fitted to all single replicates, each with its solution's weight w; where all were read equally often,
    that is the fit on means. F = [Σ n w (mean − curve)² / (m − p)] / [Σ w (y − mean of the level)² / (N − m)] for m
    different concentrations, p coefficients and N replicates: Draper and Smith (1998), 2.1 (from memory), with weights.
    Solutions of the same concentration are one level. Under 1/s² the weights come of the same replicates, and F is
    approximate. Where s is known, F is χ² of the residuals of the M means over M − p, and the probability is that of χ²
    (ISO/TS 28037, clause 6).
    None for no more levels than coefficients, and where replicates do not differ, or their spread is not known.
    """
    if any(each.count > 1 and each.sd is None for each in solutions):
        return None
    x, mean, n, w = (np.array([getattr(each, name) for each in solutions]) for name in ("x", "mean", "count", "weight"))
    levels = np.unique(x)
    freedom, pure_freedom = len(levels) - len(POWERS[curve]), int(n.sum()) - len(levels)
    if freedom < 1 or not np.isfinite(w).all():
        return None
    total = fit(x[None, :], mean[None, :], (n * w)[None, :], POWERS[curve], absolute=True).residual_ss[0]
    if s_is_known:
        all_freedom = len(solutions) - len(POWERS[curve])
        return float(total) / all_freedom, float(chdtrc(all_freedom, total))
    between = _between(x, mean, n * w, levels)
    ss = max(float(total) - between, 0.0)
    within = sum(each.weight * (each.count - 1) * (each.sd or 0.0) ** 2 for each in solutions)
    pure = within + between
    if pure_freedom < 1 or not pure > 0:
        return None
    f = (ss / freedom) / (pure / pure_freedom)
    return f, float(fdtrc(freedom, pure_freedom, f))


def _between(x: Array, mean: Array, weight: Array, levels: Array) -> float:
    """Return the weighted sum of squares of solutions of the same concentration about their common mean."""
    total = 0.0
    for level in levels:
        at = x == level
        centre = (weight[at] * mean[at]).sum() / weight[at].sum()
        total += float((weight[at] * (mean[at] - centre) ** 2).sum())
    return total
