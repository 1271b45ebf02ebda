"""Small things that go wrong in cups, in the plasma and in files: each returns a hook of a `Fault`."""

import re
from collections.abc import Callable, Collection

from tests.journeys.faults.instrument import Signals, Tubes

TubesHook = Callable[[Tubes], Tubes]
SignalsHook = Callable[[Signals], Signals]
TextHook = Callable[[str], str]


def holding(*labels: str, **contents: float) -> TubesHook:
    """These cups hold something else of the elements named, mg/L; Y: the share of the internal standard in them."""
    return lambda tubes: tubes | {label: tubes[label] | contents for label in labels}


def times(factor: float, *labels: str, of: Collection[str] = ("Cu", "Pb", "Fe")) -> TubesHook:
    """These cups hold so many times as much of the elements, as after a wrong dilution."""
    return lambda tubes: (
        tubes
        | {label: {e: v * factor if e in of else v for e, v in tubes[label].items()} for label in labels}
    )  # fmt: skip


def exchanged(one: str, other: str) -> TubesHook:
    """Each of two cups stands where the other should."""
    return lambda tubes: tubes | {one: tubes[other], other: tubes[one]}


def refilled(label: str, from_: str) -> TubesHook:
    """A cup was filled from another tube."""
    return lambda tubes: tubes | {label: dict(tubes[from_])}


def fading(to: float, *lines: str, first: str = "STD 0") -> SignalsHook:
    """The sensitivity of lines moves from 1 at a label to this share of it at the end."""

    def hook(signals: Signals) -> Signals:
        labels = list(dict.fromkeys(label for label, _ in signals))
        start, end = labels.index(first), len(labels) - 1
        share = {
            label: 1.0 + (to - 1.0) * max(place - start, 0) / (end - start) for place, label in enumerate(labels)
        }  # fmt: skip
        return {
            (label, line): [float(r) * share[label] for r in readings] if line in lines else readings
            for (label, line), readings in signals.items()
        }

    return hook


def dead_from(first: str, *lines: str) -> SignalsHook:
    """From a label on these lines (all, where none is named) see next to nothing: the plasma is out."""

    def hook(signals: Signals) -> Signals:
        labels = list(dict.fromkeys(label for label, _ in signals))
        dead = set(labels[labels.index(first) :])
        return {
            (label, line): [0.2, -0.1, 0.3] if label in dead and (not lines or line in lines) else readings
            for (label, line), readings in signals.items()
        }

    return hook


def reading(label: str, line: str, *readings: float | str) -> SignalsHook:
    """The instrument gives these replicates."""
    return lambda signals: signals | {(label, line): list(readings)}


def lines_exchanged(one: str, other: str) -> SignalsHook:
    """What is read at a line stands under the name of another one, everywhere."""
    name = {one: other, other: one}
    return lambda signals: {(label, line): signals[label, name.get(line, line)] for label, line in signals}


def instead(pattern: str, by: str, count: int = 0) -> TextHook:
    """Wherever a pattern stands in the file, something else does."""
    return lambda text: re.sub(pattern, by, text, count=count, flags=re.MULTILINE)


def rows_without(pattern: str) -> TextHook:
    """The rows that fit a pattern are missing."""
    return lambda text: "\n".join(row for row in text.split("\n") if not re.search(pattern, row))


def always(line: str, *readings: float | str) -> SignalsHook:
    """A line reads the same everywhere."""
    return lambda signals: {
        (label, at): list(readings) if at == line else found for (label, at), found in signals.items()
    }
