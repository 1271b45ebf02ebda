"""Beside a result under review: its curve in small, and how it lies among earlier ones."""

from math import isfinite

from django.urls import reverse
from django.utils.safestring import SafeString

from labresults.plots.calibration import DrawnCurve, Standard
from labresults.plots.history import Drawn, history_plot
from labresults.plots.small import small_calibration
from labresults.queries.review_evidence import Evidence
from labresults.templatetags.quantities import figures
from labresults.terms import Mark
from labresults.web.drawings import safe


def curve_drawing(evidence: Evidence) -> SafeString:
    """The curve that the result was read from; nothing where there is none; no query."""
    curve = evidence.calibration
    if curve is None or curve.problem:
        return safe("")
    version = evidence.result.evaluation.run.method_version
    standards = tuple(
        Standard(number, made, read, residual, used)
        for number, made, read, _weight, _back, residual, used in curve.points
        if read is not None and isfinite(read)
    )
    drawn = DrawnCurve(
        line=f"{curve.line} nm",
        coefficients=(curve.b0 or 0.0, curve.b1 or 0.0, curve.b2 or 0.0),
        weighting=str(curve.weighting),
        standards=standards,
        solution_unit=version.solution_unit,
        signal_unit="",
    )
    return safe(small_calibration(drawn) if standards else "")


def history_drawing(evidence: Evidence) -> SafeString:
    """Earlier samples of the same client and matrix, and this one at the end; no query."""
    result = evidence.result
    here = _drawn(result.value, result.detection_limit, Mark.BELOW_DETECTION in result.marks)
    if here is None:
        return safe("")
    earlier = [
        Drawn(
            past.detection_limit if past.is_below else past.value,
            past.is_below,
            reverse("trace", args=[past.result]),
            f"{past.identification}: {'below ' if past.is_below else ''}"
            f"{figures(past.detection_limit if past.is_below else past.value, 3)} {result.unit}",
        )
        for past in evidence.earlier
    ]
    return safe(history_plot(earlier, here, result.unit))


def _drawn(value: float | None, limit: float | None, is_below: bool) -> Drawn | None:
    shown = limit if is_below else value
    return None if shown is None else Drawn(shown, is_below)
