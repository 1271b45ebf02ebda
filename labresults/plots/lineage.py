"""Where a number came from: the sample's path as a line, and below each step what it stands on."""

from collections.abc import Sequence
from dataclasses import dataclass

from labresults.plots import svg

WIDTH, _EVERY, _LINE_Y = 1068.0, 52.0, 84.0


@dataclass(frozen=True)
class Stands:
    """One thing that a step stands on: what it is, words beside it, where it leads."""

    what: str
    words: str
    address: str = ""


@dataclass(frozen=True)
class Stage:
    """One step of the path: station (shown where it changes), what came of it, and what that stands on."""

    station: str
    gives: str
    stands_on: tuple[Stands, ...]
    address: str = ""


def lineage_plot(stages: Sequence[Stage], title: str) -> str:
    """The path from left to right as SVG text; the last step is the number that was asked about."""
    most = max((len(stage.stands_on) for stage in stages), default=0)
    height = _LINE_Y + _EVERY * most + 22
    step = (WIDTH - 20) / max(1, len(stages))
    parts = [svg.path("p-flow", f"M14 {_LINE_Y}H{svg.number(14 + step * (len(stages) - 1))}")]
    for index, stage in enumerate(stages):
        before = stages[index - 1].station if index else ""
        parts += _stage(stage, 14 + step * index, step, is_last=index == len(stages) - 1, before=before)
    return svg.drawing(WIDTH, height, title, parts, css="lineage")


def _stage(stage: Stage, x: float, width: float, *, is_last: bool, before: str) -> list[str]:
    parts = [svg.words("l-stn", (x - 6, 26), stage.station.capitalize())] if stage.station != before else []
    gives = svg.words("l-step l-last" if is_last else "l-step", (x - 6, 61), stage.gives)
    parts.append(svg.link(stage.address, "", gives))
    if stage.stands_on:
        parts.append(
            svg.path("p-flow side", f"M{svg.number(x)} {_LINE_Y}v{svg.number(_EVERY * len(stage.stands_on) - 26)}")
        )
    room = int((width - 22) / 6.3)  # letters that fit beside the line at 13 px
    for number, thing in enumerate(stage.stands_on):
        y = _LINE_Y + 26 + _EVERY * number
        parts.append(svg.path("p-flow side", f"M{svg.number(x)} {svg.number(y)}h9"))
        parts.append(svg.link(thing.address, thing.what, svg.words("l-a", (x + 14, y + 5), _fitting(thing.what, room))))
        parts.append(svg.words("l-b", (x + 14, y + 22), _fitting(thing.words, room)))
    parts.append(svg.circle("p-point" if is_last else "p-open", (x, _LINE_Y), 7 if is_last else 5.5))
    return parts


def _fitting(text: str, room: int) -> str:
    return text if len(text) <= room else text[: room - 1].rstrip() + "…"
