"""What runs through all positions of a run: the internal standard's recovery, the drift that was corrected."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from labresults.plots import svg
from labresults.plots.axes import Scale, round_step, written

WIDTH, _HEIGHT = 520.0, 178.0
_LEFT, _RIGHT, _TOP, _FOOT = 62.0, 506.0, 14.0, 142.0
MOST_POINTS = 60
"""Up to so many positions are points that lead to their position; of more, only those outside the window are."""


@dataclass(frozen=True)
class Track:
    """One quantity at each position where it is known: values in `unit`, in the order of measurement.

    low, high: the window that it should keep, None where there is none. address: with `{}` for a position's number.
    """

    what: str
    unit: str
    values: tuple[tuple[int, float], ...]
    low: float | None = None
    high: float | None = None
    address: str = ""

    def is_outside(self, value: float) -> bool:
        """Whether a value leaves the window; its bounds belong to it."""
        return (self.low is not None and value < self.low) or (self.high is not None and value > self.high)


def track_plot(track: Track) -> str:
    """The quantity over the positions as SVG text; nothing where it is known at fewer than two."""
    if len(track.values) < 2:
        return ""
    x_scale = Scale(track.values[0][0], track.values[-1][0], _LEFT + 12, _RIGHT - 8)
    y_scale = _scale(track)
    points = [(x_scale.at(number), y_scale.at(value)) for number, value in track.values]
    parts = [
        *_window(track, y_scale),
        *(_tick(value, y_scale) for value in y_scale.ticks(4)),
        svg.path("p-axis", f"M{_LEFT} {_TOP}V{_FOOT}H{_RIGHT}"),
        svg.polyline("p-line", points),
        *_marks(track, points),
        *_numbers(track, x_scale),
        svg.words("p-text", (_RIGHT, _HEIGHT - 4), "position", "end"),
        svg.words("p-text", (_LEFT, _HEIGHT - 4), track.unit),
    ]
    return svg.drawing(WIDTH, _HEIGHT, finding(track), parts)


def finding(track: Track) -> str:
    """What the track says, in words: where it left its window, else between which values it stayed."""
    if not track.values:
        return f"{track.what}: nothing known"
    seen = [value for _, value in track.values]
    span = f"{written(min(seen), 4)} to {written(max(seen), 4)} {track.unit}"
    stretches = list(_outside(track))
    if not stretches:
        kept = ", inside its window all through" if (track.low, track.high) != (None, None) else ""
        return f"{track.what}: {span}{kept}"
    said = "; ".join(_stretch(some, track.unit) for some in stretches[:3])
    more = f"; and {len(stretches) - 3} more stretches" if len(stretches) > 3 else ""
    return f"{track.what} outside its window: {said}{more}"


def _outside(track: Track) -> Iterator[list[tuple[int, float]]]:
    for is_outside, some in groupby(track.values, key=lambda pair: track.is_outside(pair[1])):
        if is_outside:
            yield list(some)


def _stretch(some: Sequence[tuple[int, float]], unit: str) -> str:
    values = [value for _, value in some]
    first, last = some[0][0], some[-1][0]
    places = f"position {first}" if first == last else f"positions {first}–{last}"
    farthest = max(values, key=lambda value: abs(value - 100.0)) if unit == "%" else max(values, key=abs)
    return f"{written(farthest, 3)} {unit} at {places}"


def _scale(track: Track) -> Scale:
    seen = [value for _, value in track.values] + [bound for bound in (track.low, track.high) if bound is not None]
    pad = (max(seen) - min(seen) or abs(max(seen)) or 1.0) * 0.12
    return Scale(min(seen) - pad, max(seen) + pad, _FOOT, _TOP)


def _window(track: Track, y_scale: Scale) -> Iterator[str]:
    for bound in (track.low, track.high):
        if bound is not None:
            at = svg.number(y_scale.at(bound))
            yield svg.path("p-limit", f"M{_LEFT} {at}H{_RIGHT}")


def _tick(value: float, y_scale: Scale) -> str:
    at = y_scale.at(value)
    return svg.path("p-grid", f"M{_LEFT} {svg.number(at)}H{_RIGHT}") + svg.words(
        "p-text", (_LEFT - 6, at + 4), written(value, 4), "end"
    )


def _marks(track: Track, points: Sequence[svg.Point]) -> Iterator[str]:
    """Points that lead to their position: all of few, else those outside."""
    for (number, value), at in zip(track.values, points, strict=True):
        outside = track.is_outside(value)
        if outside or len(points) <= MOST_POINTS:
            said = f"position {number}: {written(value, 4)} {track.unit}{', outside' if outside else ''}"
            mark = svg.lozenge("p-out", at, 6) if outside else svg.circle("p-point", at, 3.2)
            yield svg.link(track.address.format(number) if track.address else "", said, mark)


def _numbers(track: Track, x_scale: Scale) -> Iterator[str]:
    first, last = track.values[0][0], track.values[-1][0]
    step = max(1, int(round_step((last - first) / 8)) if last > first else 1)
    for number in range(first - first % step + step if first % step else first, last + 1, step):
        yield svg.words("p-text", (x_scale.at(number), _FOOT + 17), str(number), "middle")
