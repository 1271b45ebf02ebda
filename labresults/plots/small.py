"""A calibration in small, to be looked at beside those of the other lines."""

from labresults.plots import svg
from labresults.plots.axes import sampled, spanning, written
from labresults.plots.calibration import DrawnCurve

WIDTH, HEIGHT = 168.0, 104.0
_LEFT, _RIGHT, _TOP, _FOOT = 8.0, 160.0, 24.0, 96.0


def small_calibration(curve: DrawnCurve) -> str:
    """The curve and its standards as SVG text; a cross: left out. Axes as in the large drawing, without numbers."""
    xs = [s.x for s in curve.standards if s.x > 0] or [s.x for s in curve.standards]
    x_scale = spanning(xs, _LEFT, _RIGHT)
    shown = [s for s in curve.standards if not x_scale.is_log or s.x > 0]
    y_scale = spanning([s.y for s in shown], _FOOT, _TOP)
    b0, b1, b2 = curve.coefficients
    fitted = sampled(lambda x: b0 + b1 * x + b2 * x * x, x_scale, 24)
    line = [(x_scale.at(x), y_scale.at(y)) for x, y in fitted if y_scale.low <= y <= y_scale.high]
    parts = [
        svg.path("p-axis", f"M{_LEFT} {_TOP}V{_FOOT}H{_RIGHT}"),
        svg.polyline("p-line", line),
        *(_mark((x_scale.at(s.x), y_scale.at(s.y)), used=s.used) for s in shown),
        svg.words("p-text", (_LEFT, 14), curve.line.removesuffix(" nm")),
    ]
    return svg.drawing(WIDTH, HEIGHT, _in_words(curve), parts)


def _mark(at: svg.Point, *, used: bool) -> str:
    if used:
        return svg.circle("p-point", at, 3)
    return svg.path("p-thin", f"M{svg.number(at[0])} {svg.number(at[1])}m-3.5 -3.5l7 7m0 -7l-7 7")


def _in_words(curve: DrawnCurve) -> str:
    residuals = [abs(s.residual_percent) for s in curve.standards if s.used and s.residual_percent is not None]
    out = sum(not s.used for s in curve.standards)
    largest = f", largest residual {written(max(residuals), 2)} %" if residuals else ""
    return f"{curve.line}{largest}{f', {out} left out' if out else ''}"
