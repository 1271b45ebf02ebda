"""The run list that a method version asks for, as keys, and the small changes that a person makes to it.

A key names what stands at a place; the same one may stand at several. `s3`: the calibration blank or standard that
stands third in the method version. `p12`: the prepared portion 12. `c5`: the fifth control sample of the method
version, made at the instrument; `c5.12`: the same of the portion 12, for what is measured beside a sample.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from labresults.terms import Role

OF_A_SAMPLE = frozenset({Role.DUPLICATE, Role.SERIAL_DILUTION, Role.POST_DIGESTION_SPIKE, Role.STANDARD_ADDITION})
"""Control samples that are made at the instrument of a test solution, and compared with it."""


class Key(NamedTuple):
    """A key, taken apart: "s", "p" or "c"; the ordinal or the portion; of which portion it is made (0: none said)."""

    kind: str
    number: int
    of: int = 0

    def __str__(self) -> str:
        return f"{self.kind}{self.number}" + (f".{self.of}" if self.of else "")


@dataclass(frozen=True)
class Control:
    """A control sample that the method version puts into a run, and where; `ordinal`: its place in the version."""

    ordinal: int
    role: Role
    name: str = ""  # its material, in words
    at_start: bool = False
    every: int | None = None
    at_end: bool = False


@dataclass(frozen=True)
class Solution:
    """A prepared portion: its key and role; `parent`: the key of the portion that it is compared with.

    beside: roles of control samples that are made of it at the instrument, whatever the method version puts where.
    """

    portion: int
    role: Role
    parent: int | None = None
    beside: frozenset[Role] = frozenset()


def parsed(text: str) -> Key | None:
    """Take a key apart; None for what is no key."""
    kind, (number, dot, of) = text[:1], text[1:].partition(".")
    is_key = kind in {"s", "p", "c"} and _is_number(number) and (_is_number(of) if dot else not of)
    if not is_key or (dot and kind != "c"):
        return None
    return Key(kind, int(number), int(of or 0))


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdecimal() and len(text) < 16


def propose(
    standards: Sequence[int],
    controls: Sequence[Control],
    solutions: Sequence[Solution],
    *,
    recalibrate_every: int | None = None,
    by_additions: bool = False,
) -> tuple[Key, ...]:
    """Return the run list: in each calibration block the standards, the checks at its start, test solutions with checks
    among them, the checks at its end.

    standards: their ordinals, the blank first. Test solutions keep their order, but none stands before the one that it
    is compared with, nor in another block. Standard additions follow each sample where `by_additions`. What is made of
    a solution stands behind it once, whoever asks for it.
    """
    keys: list[Key] = []
    for block in _blocks(_parents_first(solutions), recalibrate_every):
        keys += [Key("s", ordinal) for ordinal in standards]
        keys += _block(controls, block, by_additions)
    return tuple(keys)


def _block(controls: Sequence[Control], solutions: Sequence[Solution], by_additions: bool) -> list[Key]:
    """What stands after the standards of one calibration block."""
    placed = [c for c in controls if not (by_additions and c.role is Role.STANDARD_ADDITION)]
    additions = [c for c in controls if by_additions and c.role is Role.STANDARD_ADDITION]
    keys = [Key("c", c.ordinal) for c in placed if c.at_start and c.role not in OF_A_SAMPLE]
    sample = 0
    for count, solution in enumerate(solutions, start=1):
        keys.append(Key("p", solution.portion))
        if solution.role is Role.SAMPLE:
            sample = solution.portion
            keys += [Key("c", c.ordinal, sample) for c in additions]
        keys += [Key("c", c.ordinal, solution.portion) for c in placed if c.role in OF_A_SAMPLE & solution.beside]
        is_last = count == len(solutions)
        due = (c for c in placed if c.every and count % c.every == 0 and not (is_last and c.at_end))
        keys += _controls(due, sample, keys)
    return keys + _controls((c for c in placed if c.at_end), sample, keys)


def _controls(controls: Iterable[Control], sample: int, before: Sequence[Key]) -> list[Key]:
    """Keys of control samples; one that is made of a sample is of the last one, and left out where there is none.

    before: what stands already. None is made twice of one sample.
    """
    keys = []
    for control in controls:
        if control.role not in OF_A_SAMPLE:
            keys.append(Key("c", control.ordinal))
        elif sample and (made := Key("c", control.ordinal, sample)) not in before:
            keys.append(made)
    return keys


def _parents_first(solutions: Sequence[Solution]) -> list[Solution]:
    """The solutions in their order, but none before the one that it is compared with, which may be in a later tube."""
    planned = {solution.portion for solution in solutions}
    order: list[Solution] = []
    placed: set[int] = set()
    waiting: dict[int, list[Solution]] = {}
    for solution in solutions:
        if solution.parent in planned and solution.parent not in placed:
            waiting.setdefault(solution.parent or 0, []).append(solution)
            continue
        ready = [solution]
        while ready:
            next_one = ready.pop(0)
            order.append(next_one)
            placed.add(next_one.portion)
            ready += waiting.pop(next_one.portion, ())
    return order + [solution for left in waiting.values() for solution in left]


def _blocks(solutions: Sequence[Solution], size: int | None) -> list[list[Solution]]:
    """The solutions by calibration block: at most `size` in each, families together (one larger than it is a block)."""
    if size is None:
        return [list(solutions)]
    families = _families(solutions)
    members: dict[int, int] = {}
    for head in families.values():
        members[head] = members.get(head, 0) + 1
    block_of: dict[int, int] = {}
    filled = [0]
    for solution in solutions:
        head = families[solution.portion]
        if head not in block_of:
            if filled[-1] and filled[-1] + members[head] > size:
                filled.append(0)
            block_of[head] = len(filled) - 1
            filled[-1] += members[head]
    blocks: list[list[Solution]] = [[] for _ in filled]
    for solution in solutions:
        blocks[block_of[families[solution.portion]]].append(solution)
    return blocks


def _families(solutions: Sequence[Solution]) -> Mapping[int, int]:
    """By portion, the portion at the head of its family: what it is compared with, and what that is compared with."""
    head: dict[int, int] = {}
    for solution in solutions:  # parents stand first
        head[solution.portion] = head.get(solution.parent or 0, solution.portion)
    return head


# ---------------------------------------------------------------- what a person changes


def moved(order: Sequence[str], place: int, to: int) -> tuple[str, ...]:
    """Return the list with what stands at `place` (from 1) put at the place `to`, or as near to it as the list goes."""
    if not 1 <= place <= len(order):
        return tuple(order)
    rest = [*order[: place - 1], *order[place:]]
    rest.insert(min(max(to, 1), len(order)) - 1, order[place - 1])
    return tuple(rest)


def renumbered(order: Sequence[str], numbers: Sequence[int]) -> tuple[str, ...]:
    """Return the list with each whose number was changed put at its new place; the others keep their order.

    numbers: what was written beside each, in the order of the list.
    """
    changed = sorted((wanted, now) for now, wanted in enumerate(numbers, start=1) if wanted != now)
    rest = [key for now, key in enumerate(order, start=1) if now not in {now for _, now in changed}]
    for wanted, now in changed:
        rest.insert(min(max(wanted, 1), len(rest) + 1) - 1, order[now - 1])
    return tuple(rest)


def without(order: Sequence[str], place: int) -> tuple[str, ...]:
    """Return the list without what stands at a place (from 1)."""
    return tuple(key for now, key in enumerate(order, start=1) if now != place)


def inserted(order: Sequence[str], key: str, place: int) -> tuple[str, ...]:
    """Return the list with a key put in before a place (from 1), or at the end."""
    at = min(max(place, 1), len(order) + 1) - 1
    return (*order[:at], key, *order[at:])
