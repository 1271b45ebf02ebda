"""Where control samples stand among the samples of a preparation batch.

How many: one for every so many samples or part of so many, and at least so many (EPA Method 6010D (2018), section
9: one for each batch of at most 20; from memory). The places are common practice, no source.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256
from math import ceil

from labresults.terms import Placing, Role

OF_A_SAMPLE = frozenset({Role.DUPLICATE, Role.SPIKE})
"""Control samples that are taken of a sample of the batch, their parent."""


@dataclass(frozen=True)
class Control:
    """A control sample that a method asks for: how often, and where. `key` is the caller's own."""

    key: int
    role: Role
    placing: Placing
    every: int | None = None  # one for so many samples
    at_least: int = 1

    def count(self, samples: int) -> int:
        """How many there are among so many samples."""
        return max(self.at_least, ceil(samples / self.every) if self.every else 0)


@dataclass(frozen=True)
class Tube:
    """One tube: of a sample, by its index; else of a control sample, by its key, with the index of its parent."""

    sample: int | None = None
    control: int | None = None
    parent: int | None = None


class Draws:
    """Numbers drawn from a seed, the same for ever and everywhere.

    The nth block is SHA-256 of "seed:n", read as a whole number (FIPS 180-4); blocks at or above the largest multiple
    of the bound are passed over, so that every number below the bound is equally likely.
    """

    def __init__(self, seed: int) -> None:
        self._seed, self._count = seed, 0

    def below(self, bound: int) -> int:
        """Return the next number, from 0 to below `bound`."""
        limit = 2**256 - 2**256 % bound
        while True:
            block = int.from_bytes(sha256(f"{self._seed}:{self._count}".encode()).digest(), "big")
            self._count += 1
            if block < limit:
                return block % bound

    def shuffled(self, items: Sequence[int]) -> list[int]:
        """Return the items in an order in which each is equally likely (Fisher and Yates, 1938; Durstenfeld, 1964)."""
        order = list(items)
        for last in range(len(order) - 1, 0, -1):
            other = self.below(last + 1)
            order[last], order[other] = order[other], order[last]
        return order


def is_random(controls: Sequence[Control]) -> bool:
    """Whether a seed is needed to place these."""
    return any(control.placing is Placing.RANDOM for control in controls)


def place(samples: int, controls: Sequence[Control], seed: int | None = None) -> tuple[Tube, ...]:
    """Return the tubes of a batch in their order. The samples keep theirs; the controls stand as they are placed.

    At the start: before all samples; duplicates and spikes after all of them. Spread: each before (a duplicate or spike
    right after the last of) its part of the samples, cut evenly. At random: anywhere, a duplicate or spike anywhere
    after its parent. A single duplicate is of the last sample and a single spike of the first, where it is not random;
    no sample has two of a role before each has one.
    Raises ValueError when something is placed at random and no seed is given.
    """
    if seed is None and is_random(controls):
        raise ValueError("Control samples at random need a seed.")
    draws = Draws(seed or 0)
    slots: list[list[Tube]] = [[] for _ in range(samples + 2)]  # before each sample, after the last, at the end
    used: dict[Role, list[int]] = {}
    for control in controls:
        count = control.count(samples)
        if control.role in OF_A_SAMPLE:
            parents = _parents(control, count, samples, used.setdefault(control.role, []), draws)
            for parent in parents:
                slots[_slot_after(parent, control.placing, samples, draws)].append(
                    Tube(control=control.key, parent=parent)
                )
        else:
            for slot in _slots(control.placing, count, samples, draws):
                slots[slot].append(Tube(control=control.key))
    return tuple(_in_order(slots, samples))


def _in_order(slots: Sequence[list[Tube]], samples: int) -> Iterator[Tube]:
    for index, slot in enumerate(slots):
        yield from slot
        if index < samples:
            yield Tube(sample=index)


def _slots(placing: Placing, count: int, samples: int, draws: Draws) -> list[int]:
    """Before which sample each of so many stands; `samples` is after the last."""
    if placing is Placing.SPREAD:
        return [number * samples // count for number in range(count)]
    if placing is Placing.RANDOM:
        return sorted(draws.below(samples + 1) for _ in range(count))
    return [0] * count


def _slot_after(parent: int, placing: Placing, samples: int, draws: Draws) -> int:
    """Where a tube taken of a sample stands: never before it, since it is compared with what was read before."""
    if placing is Placing.SPREAD:
        return parent + 1
    if placing is Placing.RANDOM:
        return parent + 1 + draws.below(samples - parent)
    return samples + 1


def _parents(control: Control, count: int, samples: int, used: list[int], draws: Draws) -> list[int]:
    """The samples of which so many are taken; `used` holds those that have one of this role, and takes these in."""
    found: list[int] = []
    while len(found) < count:
        fewest = min(map(used.count, range(samples)))
        rest = [index for index in range(samples) if used.count(index) == fewest]
        wanted = min(count - len(found), len(rest))
        if control.placing is Placing.RANDOM:
            chosen = sorted(draws.shuffled(rest)[:wanted])
        elif control.role is Role.DUPLICATE:
            chosen = [rest[(number + 1) * len(rest) // wanted - 1] for number in range(wanted)]
        else:
            chosen = [rest[number * len(rest) // wanted] for number in range(wanted)]
        found += chosen
        used += chosen
    return found
