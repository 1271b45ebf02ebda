"""What a run list must keep: the rules of a method version as data, and each place where one is broken, in words.

Nothing is mended here. The rules come from the control samples that the method version puts into a run (`Control`) and
from its `sequence_rules`, pairs of a name and a value:

| name | value |
|---|---|
| "at most positions" | so many positions in a run |
| "at most test solutions" | so many prepared portions in a run |
| "rinse after" | a role: a rinse stands next to each position of it |
| "samples for each batch control" | in place of 20, for the method blank and the reference material of a batch |

Sources: EPA Method 6010D (2018), section 9.5 for verification and blanks, 10.7 for the lowest standard; EPA SW-846
chapter one for one blank and one control sample to at most 20 samples of a batch.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from labresults.calculation.run_proposal import Control, Key
from labresults.terms import Role

NAMES = frozenset({"at most positions", "at most test solutions", "rinse after", "samples for each batch control"})
"""Names that a pair of `sequence_rules` may have."""

SAMPLES_FOR_EACH_BATCH_CONTROL = 20


@dataclass(frozen=True)
class Place:
    """What stands at a place of the list. `parent`: number of the place that it is compared with.

    lacks_parent: it is compared with something that is not in the list. is_first: its portion was not read before.
    lot, material, sources: what it is made from, with the lots that this was made from; no_lot: why there is none.
    """

    key: Key
    role: Role
    label: str
    block: int = 1
    parent: int | None = None
    lacks_parent: bool = False
    batch: str = ""
    is_first: bool = True
    lot: str = ""
    material: str = ""
    sources: frozenset[str] = frozenset()
    no_lot: str = ""

    @property
    def is_test_solution(self) -> bool:
        """Whether it is a prepared portion, and not made at the instrument."""
        return self.key.kind == "p"


@dataclass(frozen=True)
class LineNeeds:
    """A line as the rules see it; limits in the solution unit. lowest_standard: None where no standard holds it.

    is_internal_standard: the standards need not hold less and less of it.
    """

    line: str
    element: str
    quantification_limit: float
    lowest_standard: float | None
    interferents: tuple[str, ...] = ()
    is_internal_standard: bool = False


@dataclass(frozen=True)
class Rules:
    """What a run by one method version on one instrument must keep. tray_places: None for a tray of unknown shape."""

    standards: Mapping[int, str] = field(default_factory=dict)  # ordinal to label, the blank first
    controls: tuple[Control, ...] = ()
    batch_roles: tuple[Role, ...] = ()  # that a batch must bring along
    lines: tuple[LineNeeds, ...] = ()
    solution_unit: str = "mg/L"
    recalibrate_every: int | None = None
    by_additions: bool = False
    tray_places: int | None = None
    named: tuple[tuple[str, str | float], ...] = ()

    def values(self, name: str) -> list[str | float]:
        """The values given under a name of `sequence_rules`."""
        return [value for each, value in self.named if each == name]


@dataclass(frozen=True)
class BrokenRule:
    """A rule that the list breaks: at which place (None: as a whole), in words, and what to do.

    must: it cannot be planned so. Any other may be, with a reason that goes on record.
    """

    place: int | None
    words: str
    do: str
    must: bool = False

    def __str__(self) -> str:
        where = f"Position {self.place}: {self.words}" if self.place else self.words[:1].upper() + self.words[1:]
        return f"{where}. {self.do}"


@dataclass(frozen=True)
class Numbered:
    """A place with its number, from 1."""

    number: int
    place: Place


def numbered(places: Sequence[Place]) -> list[Numbered]:
    """The places with their numbers."""
    return [Numbered(number, place) for number, place in enumerate(places, start=1)]


def blocks(places: Sequence[Place]) -> list[list[Numbered]]:
    """The places by calibration block."""
    found: dict[int, list[Numbered]] = {}
    for each in numbered(places):
        found.setdefault(each.place.block, []).append(each)
    return list(found.values())


def in_order(broken: Iterable[BrokenRule]) -> tuple[BrokenRule, ...]:
    """What cannot be planned first, then the list as a whole, then place by place."""
    return tuple(sorted(broken, key=lambda rule: (not rule.must, rule.place or 0)))
