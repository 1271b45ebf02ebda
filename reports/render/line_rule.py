"""The rule under the laboratory's name: a scale of wavelength with the emission lines that were measured."""

from dataclasses import dataclass
from math import ceil, floor

SHORTEST_NM = 170.0  # no line that a purged plasma spectrometer commonly reads is shorter: common practice, no source


@dataclass(frozen=True)
class LineRule:
    """Path data in mm: the ground line and the strokes on it; width in mm."""

    width: str
    ground: str
    strokes: str


def line_rule(lines_nm: tuple[float, ...], width_mm: float) -> LineRule:
    """Return the drawing of `lines_nm` (wavelengths, nm) on a rule of `width_mm`, each stroke at its true place.

    The scale is linear, from 170 nm (or the ten below the shortest line) to the ten above the longest and ten more.
    Strokes alternate in height, so that neighbours can be told apart.
    """
    lines = sorted(set(lines_nm))
    width = f"{width_mm:.0f}"
    ground = f"M0 4.8H{width}"
    if not lines:
        return LineRule(width, ground, "")
    low = min(SHORTEST_NM, floor(lines[0] / 10) * 10.0)
    high = ceil(lines[-1] / 10) * 10.0 + 10.0
    places = [width_mm * (line - low) / (high - low) for line in lines]
    strokes = "".join(f"M{x:.2f} 4.8V{0.4 if index % 2 else 1.8}" for index, x in enumerate(places))
    return LineRule(width, ground, strokes)
