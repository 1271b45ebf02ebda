"""Curves judged: their correlation, their relative standard error and whether their shape fits.

References: EPA Method 6010D (2018), 10.7, for correlation and relative standard error. Lack of fit: the F test of the
shape against the replicates, as `curve_quality` finds it.
"""

from collections.abc import Iterator
from math import isnan

from labresults.calculation.criteria import Book, Observation, judged
from labresults.calculation.run import ControlOutcome, Criterion, FittedCurve
from labresults.calculation.solutions import Solutions
from labresults.terms import CALIBRATING, OF_CURVES, Measure, Role

Judged = tuple[int, int, ControlOutcome]
"""Row, column and outcome: the place in the order of measurement."""


def judge_curves(solutions: Solutions, book: Book) -> Iterator[Judged]:
    """Yield one outcome for each curve and criterion that speaks of it, at the highest standard in use."""
    for (block, column), curve in sorted(solutions.curves.items()):
        criteria = [
            criterion
            for criterion in book.speaking(Role.CALIBRATION_STANDARD, solutions.lines[column].element)
            if criterion.measure in OF_CURVES
        ]
        row = _row_of(solutions, block, curve) if criteria else None
        if row is None:
            continue
        number = solutions.run.positions[row].number
        for criterion in criteria:
            seen = _observe(solutions, block, column, curve, criterion)
            fraction = solutions.method.close_fraction
            outcome = judged(seen, criterion, position=number, line=curve.line, close_fraction=fraction)
            yield row, column, outcome


def _row_of(solutions: Solutions, block: int, curve: FittedCurve) -> int | None:
    """Return where a curve's outcomes stand: at its highest standard in use, else at its block's last one."""
    positions = solutions.run.positions
    used = {point.position: point.x for point in curve.points if point.used}
    if used:
        highest = max(used, key=lambda number: used[number])
        return next(row for row, position in enumerate(positions) if position.number == highest)
    rows = [row for row, at in enumerate(positions) if at.block == block and at.role in CALIBRATING]
    return max(rows, default=None)


def _observe(solutions: Solutions, block: int, column: int, curve: FittedCurve, criterion: Criterion) -> Observation:
    if curve.problem is not None:
        return Observation(None, None, f"No curve. {curve.problem}")
    quality = solutions.qualities.get((block, column))
    words = f"{curve.line}, {curve.curve.value} of {curve.n} points, {criterion.measure.partition(',')[0]}"
    match criterion.measure:
        case Measure.CORRELATION:
            observed, lacking = None if isnan(curve.r) else curve.r, "too few points."
        case Measure.STANDARD_ERROR:
            observed = quality.standard_error_percent if quality else None
            lacking = "more standards than coefficients are needed for it."
        case _:
            words = f"{words} against the replicates, probability"
            observed = quality.lack_of_fit_p if quality else None
            lacking = "not to be had without single replicates of enough standards."
    return Observation(observed, None, words if observed is not None else f"{words}: {lacking}")
