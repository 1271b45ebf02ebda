"""Earlier results of one kind in small, with the newest at the end: does it fit?"""

from collections.abc import Sequence
from dataclasses import dataclass

from labresults.plots import svg
from labresults.plots.axes import spanning, written

WIDTH, HEIGHT = 232.0, 56.0
_LEFT, _RIGHT, _TOP, _FOOT = 6.0, 226.0, 8.0, 48.0


@dataclass(frozen=True)
class Drawn:
    """One result in the unit of all; below its detection limit it is drawn at that limit, hollow."""

    value: float
    is_below: bool = False
    address: str = ""
    words: str = ""


def history_plot(earlier: Sequence[Drawn], here: Drawn, unit: str) -> str:
    """Earlier results from left to right, the oldest first, and this one last, as SVG text; "" without earlier ones."""
    if not earlier:
        return ""
    rows = [*earlier, here]
    scale = spanning([row.value for row in rows], _FOOT, _TOP)
    places = [
        (_LEFT + (_RIGHT - _LEFT) * place / (len(rows) - 1), scale.at(_shown(row, scale.is_log)))
        for place, row in enumerate(rows)
    ]
    parts = [
        svg.polyline("p-thin", places),
        *(
            svg.link(row.address, row.words, _mark(row, at), is_stop=False)
            for row, at in zip(earlier, places[:-1], strict=True)
        ),
        svg.lozenge("p-here", places[-1], 5),
    ]
    return svg.drawing(WIDTH, HEIGHT, _in_words(earlier, here, unit), parts, "history")


def _shown(row: Drawn, is_log: bool) -> float:
    return max(row.value, 1e-300) if is_log else row.value


def _mark(row: Drawn, at: svg.Point) -> str:
    return svg.circle("p-hollow" if row.is_below else "p-point", at, 3)


def _in_words(earlier: Sequence[Drawn], here: Drawn, unit: str) -> str:
    values = [row.value for row in earlier]
    between = f"{written(min(values), 3)} to {written(max(values), 3)} {unit}"
    sign = "below " if here.is_below else ""
    return f"{sign}{written(here.value, 3)} {unit} after {len(earlier)} earlier, {between}"
