"""Checks through a run: the recovery of each verification at its position, with what a failure touches."""

from collections.abc import Sequence
from dataclasses import dataclass

from labresults.plots import svg
from labresults.plots.axes import Scale, written

WIDTH, _HEIGHT = 520.0, 196.0
_LEFT, _RIGHT, _TOP, _FOOT = 62.0, 440.0, 14.0, 160.0


@dataclass(frozen=True)
class Check:
    """One check: position in the run, what it gave in %, whether it holds, and where it leads."""

    position: int
    observed: float
    holds: bool
    address: str = ""


@dataclass(frozen=True)
class Series:
    """The checks of one line."""

    line: str
    checks: tuple[Check, ...]


def sequence_plot(
    subject: Series, others: Sequence[Series], low: float, high: float, touched: tuple[int, int] | None
) -> str:
    """The checks of one line over the run as SVG text; other lines thin behind it.

    low, high: what is allowed, in %. touched: first and last position that a failed check speaks for.
    """
    positions = [check.position for check in subject.checks]
    x_scale = Scale(min(positions), max(positions), _LEFT + 24, _RIGHT - 24)
    seen = [check.observed for series in (subject, *others) for check in series.checks]
    pad = (high - low) * 0.35
    y_scale = Scale(min(low - pad, *seen), max(high + pad, *seen), _FOOT, _TOP)
    parts = [
        *_touched(touched, x_scale),
        *_limits(low, high, y_scale),
        svg.path("p-axis", f"M{_LEFT} {_TOP}V{_FOOT}H{_RIGHT}"),
        *(svg.polyline("p-thin", _points(series, x_scale, y_scale)) for series in others),
        svg.polyline("p-line", _points(subject, x_scale, y_scale)),
        *(_mark(check, x_scale, y_scale) for check in subject.checks),
        *_position_numbers(positions, x_scale),
        svg.words("p-strong", (_RIGHT - 14, y_scale.at(subject.checks[-1].observed) - 6), subject.line.split()[0]),
        svg.words("p-text", (WIDTH, _FOOT + 17), "position", "end"),
    ]
    return svg.drawing(WIDTH, _HEIGHT, _in_words(subject, low, high), parts)


def _touched(touched: tuple[int, int] | None, x_scale: Scale) -> list[str]:
    if touched is None:
        return []
    first, last = x_scale.at(touched[0]), x_scale.at(touched[1])
    return [svg.rectangle("p-late", first, _TOP, max(4.0, last - first), _FOOT - _TOP)]


def _limits(low: float, high: float, y_scale: Scale) -> list[str]:
    middle = (low + high) / 2
    parts = []
    for value, css in ((low, "p-limit"), (high, "p-limit"), (middle, "p-dash")):
        at = svg.number(y_scale.at(value))
        parts.append(svg.path(css, f"M{_LEFT} {at}H{_RIGHT}"))
        parts.append(svg.words("p-text", (_LEFT - 6, y_scale.at(value) + 4), f"{written(value, 4)} %", "end"))
    return parts


def _points(series: Series, x_scale: Scale, y_scale: Scale) -> list[svg.Point]:
    return [(x_scale.at(check.position), y_scale.at(check.observed)) for check in series.checks]


def _mark(check: Check, x_scale: Scale, y_scale: Scale) -> str:
    at = x_scale.at(check.position), y_scale.at(check.observed)
    said = f"position {check.position}: {written(check.observed, 4)} %"
    if check.holds:
        return svg.link(check.address, said, svg.circle("p-point", at, 4.2))
    label = svg.words("p-bad", (at[0] - 12, at[1] + 4), written(check.observed, 4), "end")
    return svg.link(check.address, f"{said}, outside", svg.lozenge("p-out", at, 7) + label)


def _position_numbers(positions: Sequence[int], x_scale: Scale) -> list[str]:
    """Numbers under the axis, as many as do not run into each other."""
    parts, free_from = [], float("-inf")
    for position in positions:
        at = x_scale.at(position)
        if at >= free_from:
            parts.append(svg.words("p-text", (at, _FOOT + 17), str(position), "middle"))
            free_from = at + 26
    return parts


def finding(subject: Series, low: float, high: float) -> str:
    """What the checks say, in a sentence: how many hold, and which do not."""
    outside = [check for check in subject.checks if not check.holds]
    limits = f"{written(low, 4)}–{written(high, 4)} %"
    if not outside:
        return f"{subject.line}: all {len(subject.checks)} verifications lie within {limits}."
    said = ", ".join(f"{written(check.observed, 4)} % at position {check.position}" for check in outside[:4])
    more = f" and {len(outside) - 4} more" if len(outside) > 4 else ""
    return f"{subject.line} leaves {limits}: {said}{more}; {len(subject.checks) - len(outside)} verifications hold."


def _in_words(subject: Series, low: float, high: float) -> str:
    said = ", ".join(f"{written(check.observed, 4)} at position {check.position}" for check in subject.checks)
    return f"Recovery of {subject.line} in percent: {said}; limits {written(low, 4)} to {written(high, 4)}"
