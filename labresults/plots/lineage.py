"""Where a number came from: the sample's path as a line, and below each step what it stands on, and that in turn."""

from collections.abc import Sequence
from dataclasses import dataclass

from labresults.plots import svg

WIDTH, _EVERY, _LINE_Y, _INDENT = 1068.0, 44.0, 84.0, 13.0
STEPS_ON_SCREEN = 6


@dataclass(frozen=True)
class Stands:
    """One thing that a step stands on: what it is, words beside it, where it leads.

    depth: 0 where the step itself stands on it; one more where what is named above it does.
    """

    what: str
    words: str
    address: str = ""
    depth: int = 0


@dataclass(frozen=True)
class Stage:
    """One step of the path: station (shown where it changes), what came of it, and what that stands on."""

    station: str
    gives: str
    stands_on: tuple[Stands, ...]
    address: str = ""


def lineage_plot(stages: Sequence[Stage], title: str, *, in_a_row: int = STEPS_ON_SCREEN) -> str:
    """The path from left to right as SVG text; the last step is the number that was asked about.

    in_a_row: steps side by side; where there are more of them, the path goes on in a row below.
    """
    width = WIDTH * in_a_row / STEPS_ON_SCREEN
    rows = [stages[start : start + in_a_row] for start in range(0, len(stages), in_a_row)]
    step = (width - 20) / max(1, *(len(row) for row in rows)) if rows else width
    stations = ["", *(stage.station for stage in stages)]
    parts, top = [], 0.0
    for number, row in enumerate(rows):
        goes_on = number + 1 < len(rows)
        end = width if goes_on else 14 + step * (len(row) - 1)
        start = 0 if number else 14
        parts.append(svg.path("p-flow", f"M{start} {svg.number(top + _LINE_Y)}H{svg.number(end)}"))
        for place, stage in enumerate(row):
            index = number * in_a_row + place
            at = (14 + step * place, top)
            parts += _stage(stage, at, step, is_last=index == len(stages) - 1, before=stations[index])
        top += _LINE_Y + 22 + _EVERY * max(len(stage.stands_on) for stage in row)
    return svg.drawing(width, top, title, parts, css="lineage", role="group")


def _stage(stage: Stage, at: svg.Point, width: float, *, is_last: bool, before: str) -> list[str]:
    x, top = at
    y = top + _LINE_Y
    parts = [svg.words("l-stn", (x - 6, top + 26), stage.station.capitalize())] if stage.station != before else []
    gives = svg.words("l-step l-last" if is_last else "l-step", (x - 6, y - 23), stage.gives)
    parts.append(svg.link(stage.address, "", gives))
    parts += _branches(stage.stands_on, x, y)
    for number, thing in enumerate(stage.stands_on):
        left, line = x + 14 + _INDENT * thing.depth, y + 31 + _EVERY * number
        room = int((width - 22 - _INDENT * thing.depth) / 6.6)  # letters that fit beside the line at 13 px
        name = svg.words("l-a", (left, line), _fitting(thing.what, room))
        parts.append(svg.link(thing.address, thing.what, name))
        parts.append(svg.words("l-b", (left, line + 16), _fitting(thing.words, room)))
    parts.append(svg.circle("p-point" if is_last else "p-open", (x, y), 7 if is_last else 5.5))
    return parts


def _branches(things: Sequence[Stands], x: float, y: float) -> list[str]:
    """Lines from each thing up to what stands on it."""
    parts = []
    for number, thing in enumerate(things):
        left, line = x + _INDENT * thing.depth, y + 26 + _EVERY * number
        above = next((at for at in range(number - 1, -1, -1) if things[at].depth <= thing.depth), None)
        up = y if above is None else y + 26 + _EVERY * above
        if above is not None and things[above].depth < thing.depth:
            up += 22  # it begins under the words of what stands on it
        parts.append(svg.path("p-flow side", f"M{svg.number(left)} {svg.number(up)}V{svg.number(line)}h9"))
    return parts


def _fitting(text: str, room: int) -> str:
    return text if len(text) <= room else text[: room - 1].rstrip() + "…"
