"""From what a page knows to its drawings. Texts inside are escaped by the drawings themselves."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite

from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe

from labresults.models import ControlOutcome
from labresults.plots.axes import written
from labresults.plots.calibration import DrawnCurve, Standard, calibration_plot, residual_plot
from labresults.plots.sequence import Check, Series, sequence_plot
from labresults.queries.run_answers import largest_residual
from labresults.queries.run_pages import RunPage
from labresults.queries.run_positions import bracket_of
from labresults.terms import Measure, Role, Verdict

_VERIFICATIONS = (Role.INITIAL_VERIFICATION, Role.CONTINUING_VERIFICATION)


@dataclass(frozen=True)
class RunDrawings:
    """The drawings of one line, and the lines that can be drawn."""

    line: str
    lines: tuple[str, ...]
    problem: str
    largest: str
    calibration: SafeString
    residuals: SafeString
    sequence: SafeString
    failed_at: int | None


def run_drawings(page: RunPage, asked: str = "") -> RunDrawings | None:
    """Curve, residuals and checks of the line that was asked for, else of the first that failed; no query."""
    lines = tuple(dict.fromkeys(curve.line for curve in page.curves))
    if not lines:
        return None
    line = asked if asked in lines else _most_telling(page, lines)
    curve = next(curve for curve in page.curves if curve.line == line)
    drawn = _drawn(page, line)
    failed = next((f.outcome for f in page.open_failures if str(f.outcome.line) == line and _recovery(f.outcome)), None)
    largest = largest_residual([curve])
    return RunDrawings(
        line=line,
        lines=lines,
        problem=curve.problem or "",
        largest=written(abs(largest[1].residual_percent or 0.0), 2) if largest else "",
        calibration=_safe(calibration_plot(drawn) if curve.problem is None else ""),
        residuals=_safe(residual_plot(drawn) if curve.problem is None and largest else ""),
        sequence=_safe(_sequence(page, line, failed)),
        failed_at=failed.position.number if failed else None,
    )


def _safe(drawing: str) -> SafeString:
    return mark_safe(drawing)  # every text in it was escaped where it was drawn


def _most_telling(page: RunPage, lines: Sequence[str]) -> str:
    """The first line that failed; else the one with the largest residual."""
    failed = [str(f.outcome.line) for f in page.open_failures if str(f.outcome.line) in lines]
    found = largest_residual(page.curves)
    return failed[0] if failed else found[0].line if found else lines[0]


def _drawn(page: RunPage, line: str) -> DrawnCurve:
    """The first block's curve of a line as the drawing needs it."""
    curve = next(curve for curve in page.curves if curve.line == line)
    method = page.loaded.method
    address = reverse("run", args=[page.run.number])
    return DrawnCurve(
        line=f"{line} nm",
        coefficients=curve.coefficients,
        weighting=f"{curve.curve}, {curve.weighting}",
        standards=tuple(
            Standard(p.position, p.x, p.y, p.residual_percent, p.used, f"{address}#p{p.position}")
            for p in curve.points
            if isfinite(p.y)
        ),
        solution_unit=method.solution_unit,
        signal_unit="ratio" if method.internal_standard else method.signal_unit,
        samples=_concentrations(page, line),
    )


def _concentrations(page: RunPage, line: str) -> tuple[float, ...]:
    if page.evaluated is None:
        return ()
    column = page.loaded.table.line_keys.index(line)
    read = (
        float(page.evaluated.concentration[row, column])
        for row, position in enumerate(page.positions)
        if position.role == Role.SAMPLE
    )
    return tuple(value for value in read if isfinite(value))


def _recovery(outcome: ControlOutcome) -> bool:
    return outcome.measure == Measure.RECOVERY and outcome.position.role in _VERIFICATIONS


def _sequence(page: RunPage, line: str, failed: ControlOutcome | None) -> str:
    """The verifications through the run; nothing where fewer than two were judged."""
    by_line: dict[str, list[ControlOutcome]] = {}
    for outcome in page.outcomes:
        if _recovery(outcome) and outcome.observed is not None:
            by_line.setdefault(str(outcome.line), []).append(outcome)
    subject = by_line.pop(line, [])
    limits = next(((o.criterion.low, o.criterion.high) for o in reversed(subject)), (None, None))
    if len(subject) < 2 or None in limits:
        return ""
    touched = bracket_of(failed, page.outcomes, page.positions) if failed else None
    others = [_series(name, rows) for name, rows in sorted(by_line.items())[:2]]
    return sequence_plot(_series(line, subject), others, limits[0] or 0.0, limits[1] or 0.0, touched)


def _series(line: str, outcomes: Sequence[ControlOutcome]) -> Series:
    return Series(
        line,
        tuple(
            Check(o.position.number, o.observed or 0.0, o.verdict != Verdict.OUTSIDE, f"#p{o.position.number}")
            for o in outcomes
        ),
    )
