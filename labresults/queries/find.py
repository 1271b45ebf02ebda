"""Where a number, a name or any part of one leads: what a scanner or a hand put into the box at the top.

Best first: a number that is just what was asked, a whole name, a number that begins with it, a name of which a word
begins with it, any that holds it; within these the newest first.
"""

from collections.abc import Iterable
from enum import IntEnum

from labresults.finding import SEPARATORS, fold
from labresults.models import TestPortion
from labresults.queries import hits
from labresults.queries.found import SHOWN, Found

MOST = hits.MOST
_LONGEST = 200


class Match(IntEnum):
    """How well a thing answers what was asked; the lowest is the best."""

    NUMBER = 0
    NAME = 1
    NUMBER_BEGINS = 2
    WORD_BEGINS = 3
    HOLDS = 4
    NOT = 5


def cleaned(asked: str) -> str:
    """What was asked without spaces around and control characters in it, at most 200 letters of it; no query."""
    return "".join(letter if letter.isprintable() else " " for letter in asked[:_LONGEST]).strip()


def exactly(asked: str) -> Found | None:
    """The one thing of this very number or label, whatever the case; None when there is none, or several.

    Two queries, one more for each further kind that has the number. Of the issues of a certificate it is the newest.
    """
    asked = cleaned(asked)
    if not asked:
        return None
    found = [thing for how, thing in _shown(hits.numbered(asked), asked) if how == Match.NUMBER]
    things = {(thing.kind, thing.number): thing for thing in reversed(found)}
    if len(things) == 1:
        return next(iter(things.values()))
    return None if things else _tube(asked)


def like(asked: str) -> list[Found]:
    """Things that hold what was asked, best first, at most about 25 of a kind.

    Five queries (PostgreSQL: seven), and one for each kind that is found, twelve at most.
    """
    asked = cleaned(asked)
    if not asked:
        return []
    keys = [*hits.numbered(asked), *hits.beginning(asked)]
    return [thing for _, thing in _shown([*keys, *hits.holding(asked, keys)], asked)]


def by_kind(found: Iterable[Found]) -> dict[str, list[Found]]:
    """The same things by kind: the kind of the best first, and of each kind the best first; no query."""
    kinds: dict[str, list[Found]] = {}
    for thing in found:
        kinds.setdefault(thing.kind, []).append(thing)
    return {kind: things[:MOST] for kind, things in kinds.items()}


def match(asked: str, numbers: Iterable[str], names: Iterable[str]) -> Match:
    """How well a thing of these numbers and names answers what was asked; case and accents do not count.

    >>> match("112", ["KF26-00041"], ["NRD014 112.0 m"]) is Match.WORD_BEGINS
    True
    """
    asked = fold(asked)
    numbers, names = [fold(number) for number in numbers], [fold(name) for name in names]
    every = [*numbers, *names]
    if asked in numbers:
        return Match.NUMBER
    if asked in names:
        return Match.NAME
    if any(number.startswith(asked) for number in numbers):
        return Match.NUMBER_BEGINS
    if any(f"{separator}{asked}" in f" {text}" for text in every for separator in SEPARATORS):
        return Match.WORD_BEGINS
    return Match.HOLDS if any(asked in text for text in every) else Match.NOT


def _shown(keys: hits.Keys, asked: str) -> list[tuple[Match, Found]]:
    """The things of these keys, best first and each once; what no longer is as the index said is left out."""
    by_kind: dict[str, list[int]] = {}
    for kind, key in keys:
        by_kind.setdefault(kind, []).append(key)
    best: dict[tuple[str, tuple[object, ...], str], tuple[Match, Found]] = {}
    for shown in (show(by_kind[kind]) for kind, show in SHOWN.items() if kind in by_kind):
        for thing in shown:
            how = match(asked, thing.numbers, thing.names)
            place = (thing.page, thing.arguments, thing.then)
            if how < (best[place][0] if place in best else Match.NOT):
                best[place] = how, thing
    return sorted(best.values(), key=lambda pair: pair[0])


def _tube(asked: str) -> Found | None:
    """The batch of a tube, by what stands on it, at that tube."""
    row = TestPortion.objects.filter(label__in=hits.written(asked)).select_related("batch").order_by("-pk").first()
    if row is None:
        return None
    return Found("batch", row.batch.number, row.label, "batch", (row.batch.number,), then=f"#tube-{row.tube}")
