"""The run list as a form sends it, with the one change that its pressed button asks for. No query is made here."""

from collections.abc import Mapping, Sequence

from labresults.calculation.run_proposal import inserted, moved, renumbered, without

MOST_PLACES = 20_000
"""So many places a list may have: more is no list that somebody made."""


def listed(text: str) -> tuple[str, ...]:
    """The keys of a list, sent as one field."""
    return tuple(text.split()[:MOST_PLACES])


def is_of(order: Sequence[str], portions: Sequence[int]) -> bool:
    """Whether a list holds just these portions, by key."""
    return {key for key in order if key.startswith("p")} == {f"p{portion}" for portion in portions}


def edited(order: Sequence[str], numbers: Sequence[str], step: str, given: Mapping[str, str]) -> tuple[str, ...]:
    """The list after what was written beside its places, and after one step.

    numbers: a place for each key, as written; left alone where their count is another. step: "up:3", "down:3",
    "remove:3" (from 1), or "insert" of `given["insert"]` before the place `given["insert_at"]`; any other changes
    nothing.
    """
    written = [_number(text, place) for place, text in enumerate(numbers, start=1)]
    now = renumbered(order, written) if len(written) == len(order) else tuple(order)
    what, _, where = step.partition(":")
    place = _number(where, 0)
    if what in {"up", "down"}:
        return moved(now, place, place - 1 if what == "up" else place + 1)
    if what == "remove":
        return without(now, place)
    if what == "insert" and given.get("insert"):
        return inserted(now, given["insert"], _number(given.get("insert_at", ""), len(now) + 1))
    return now


def _number(text: str, otherwise: int) -> int:
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 7 else otherwise
