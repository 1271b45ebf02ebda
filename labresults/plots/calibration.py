"""A calibration: the curve with its standards, and the residuals below it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from labresults.plots import svg
from labresults.plots.axes import Scale, round_below, sampled, signed, spanning, written

WIDTH = 520.0
_LEFT, _RIGHT, _TOP, _FOOT, _HEIGHT = 74.0, 506.0, 16.0, 262.0, 300.0
_RESIDUAL_HEIGHT = 116.0


@dataclass(frozen=True)
class Standard:
    """One point of a curve: x in the solution unit, y a signal; `residual_percent` of x, None where x is 0."""

    position: int
    x: float
    y: float
    residual_percent: float | None
    used: bool
    address: str = ""


@dataclass(frozen=True)
class DrawnCurve:
    """signal = b0 + b1 x + b2 x²: what a drawing needs to know of it, with its units in words."""

    line: str
    coefficients: tuple[float, float, float]
    weighting: str
    standards: tuple[Standard, ...]
    solution_unit: str
    signal_unit: str
    samples: tuple[float, ...] = ()  # concentrations of the samples, solution unit


def calibration_plot(curve: DrawnCurve) -> str:
    """The curve, its standards (crossed: left out) and a stroke for each sample, as SVG text."""
    xs = [s.x for s in curve.standards if s.x > 0] or [s.x for s in curve.standards]
    x_scale = spanning(xs, _LEFT, _RIGHT)
    fitted = sampled(lambda x: _signal(curve, x), x_scale)
    y_scale = spanning([s.y for s in curve.standards if not x_scale.is_log or s.x > 0], _FOOT, _TOP)
    visible = [(x, y) for x, y in fitted if y_scale.low <= y <= y_scale.high]
    parts = [
        *_grid(x_scale, y_scale),
        svg.polyline("p-line", [(x_scale.at(x), y_scale.at(y)) for x, y in visible]),
        *(_standard(s, curve, x_scale, y_scale) for s in curve.standards if not x_scale.is_log or s.x > 0),
        *_strokes(curve.samples, x_scale),
        svg.words("p-book", (_LEFT + 34, _TOP + 14), _equation(curve)),
        svg.words("p-text", (_LEFT + 34, _TOP + 32), _fitted_to(curve)),
        svg.words("p-text", (_RIGHT, _HEIGHT - 2), curve.solution_unit, "end"),
    ]
    return svg.drawing(WIDTH, _HEIGHT, _curve_in_words(curve), parts)


def residual_plot(curve: DrawnCurve) -> str:
    """Residuals in percent of each standard, on the same axis as the curve, as SVG text."""
    shown = [s for s in curve.standards if s.residual_percent is not None and s.x > 0]
    x_scale = spanning([s.x for s in shown], _LEFT, _RIGHT)
    largest = max((abs(s.residual_percent or 0.0) for s in shown if s.used), default=1.0)
    half = largest * 1.2 or 1.0
    y_scale = Scale(-half, half, 84.0, 14.0)
    middle = y_scale.at(0.0)
    step = round_below(half)
    parts = [
        svg.rectangle("p-band", _LEFT, y_scale.at(step), _RIGHT - _LEFT, y_scale.at(-step) - y_scale.at(step)),
        svg.path("p-axis", f"M{_LEFT} {svg.number(middle)}H{_RIGHT}M{_LEFT} 8V90"),
        *(svg.words("p-text", (_LEFT - 6, y_scale.at(v) + 4), f"{written(v, 2)} %", "end") for v in (-step, 0.0, step)),
        *_residuals(shown, x_scale, y_scale),
        svg.words("p-text", (_RIGHT, 112.0), f"standard, {curve.solution_unit}; residual in % of the standard", "end"),
    ]
    return svg.drawing(WIDTH, _RESIDUAL_HEIGHT, _residuals_in_words(shown, curve.solution_unit), parts)


def _signal(curve: DrawnCurve, x: float) -> float:
    b0, b1, b2 = curve.coefficients
    return b0 + b1 * x + b2 * x * x


def _grid(x_scale: Scale, y_scale: Scale) -> list[str]:
    parts = [svg.path("p-axis", f"M{_LEFT} {_TOP}V{_FOOT}H{_RIGHT}")]
    for x in x_scale.ticks():
        at = x_scale.at(x)
        parts.append(svg.path("p-grid", f"M{svg.number(at)} {_TOP}V{_FOOT}"))
        parts.append(svg.words("p-text", (at, _FOOT + 17), written(x, 3), "middle"))
    for y in y_scale.ticks():
        at = y_scale.at(y)
        parts.append(svg.path("p-grid", f"M{_LEFT} {svg.number(at)}H{_RIGHT}"))
        parts.append(svg.words("p-text", (_LEFT - 6, at + 4), written(y, 3), "end"))
    return parts


def _standard(standard: Standard, curve: DrawnCurve, x_scale: Scale, y_scale: Scale) -> str:
    at = x_scale.at(standard.x), y_scale.at(standard.y)
    made, read = f"{written(standard.x)} {curve.solution_unit}", f"{written(standard.y)} {curve.signal_unit}"
    said = f"position {standard.position}, {made}: {read}"
    mark = svg.circle("p-open", at, 5)
    if not standard.used:
        said += ", left out"
        x, y = (svg.number(value) for value in at)
        mark = svg.path("p-thin", f"M{x} {y}m-5 -5l10 10m0 -10l-10 10")
    return svg.link(standard.address, said, mark)


def _strokes(samples: Sequence[float], x_scale: Scale) -> list[str]:
    inside = [x for x in samples if x_scale.low <= x <= x_scale.high]
    strokes = [svg.path("p-thin", f"M{svg.number(x_scale.at(x))} {_FOOT - 10}v10") for x in inside]
    return [*strokes, svg.words("p-text", (_RIGHT, _FOOT - 14), "strokes: the samples", "end")] if strokes else []


def _residuals(standards: Sequence[Standard], x_scale: Scale, y_scale: Scale) -> list[str]:
    """A mark for each standard, with its number above or below it where there is room for it."""
    parts, free_from = [], {True: float("-inf"), False: float("-inf")}
    for standard in sorted(standards, key=lambda each: each.x):
        value = standard.residual_percent or 0.0
        x, y = x_scale.at(standard.x), y_scale.at(value)
        mark = svg.circle("p-point" if standard.used else "p-open", (x, y), 4.2)
        parts.append(svg.line("p-thin", (x, y_scale.at(0.0)), (x, y)) + svg.link("", f"{signed(value, 2)} %", mark))
        if x >= free_from[value >= 0]:
            beside = (min(x, _RIGHT - 18), y - 8 if value >= 0 else y + 17)
            parts.append(svg.words("p-text", beside, signed(value, 2), "middle"))
            free_from[value >= 0] = x + 44
    return parts


_SIGNS: Mapping[bool, str] = {True: " + ", False: " \N{MINUS SIGN} "}


def _equation(curve: DrawnCurve) -> str:
    b0, b1, b2 = curve.coefficients
    said = f"{curve.signal_unit} = {written(b0)}{_SIGNS[b1 >= 0]}{written(abs(b1))} × c"
    return f"{said}{_SIGNS[b2 >= 0]}{written(abs(b2))} × c²" if b2 else said


def _fitted_to(curve: DrawnCurve) -> str:
    used = [s for s in curve.standards if s.used]
    blanks = sum(s.x == 0 for s in used)
    ending = " and blank" if blanks else ""
    return f"{curve.weighting}, {len(used) - blanks} standards{ending}"


def _curve_in_words(curve: DrawnCurve) -> str:
    xs = [s.x for s in curve.standards if s.used and s.x > 0]
    span = f" from {written(min(xs))} to {written(max(xs))} {curve.solution_unit}" if xs else ""
    return f"Calibration of {curve.line}: {_fitted_to(curve)}{span}; {_equation(curve)}"


def _residuals_in_words(standards: Sequence[Standard], unit: str) -> str:
    said = ", ".join(f"{written(s.x)} {unit} {signed(s.residual_percent or 0.0, 2)} percent" for s in standards)
    return f"Residuals: {said}" if said else "Residuals: none"
