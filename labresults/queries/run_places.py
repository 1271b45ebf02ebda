"""Places of a run list that is being made: number, cup and block, what each is compared with, and its label.

No query is made here, where batch and lot of each portion are loaded.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from labresults.calculation.run_proposal import OF_A_SAMPLE, Key
from labresults.calculation.tray import Tray, place_in
from labresults.models import Lot, TestPortion
from labresults.terms import Repeat, Role

SHORT = {
    Role.INITIAL_VERIFICATION: "ICV",
    Role.CONTINUING_VERIFICATION: "CCV",
    Role.BLANK_CHECK: "CCB",
    Role.LOW_LEVEL_CHECK: "LLC",
    Role.INTERFERENCE_CHECK: "IFC",
    Role.LINEAR_RANGE_CHECK: "LRC",
    Role.DUPLICATE: "RR",
    Role.SERIAL_DILUTION: "SD",
    Role.POST_DIGESTION_SPIKE: "PDS",
    Role.STANDARD_ADDITION: "ADD",
    Role.RINSE: "RINSE",
}
"""How the tube of a control sample is marked, with its count; "QC" for any other."""

LONGEST_LABEL = 40


@dataclass
class Place:
    """A position while the run list is being made."""

    key: Key
    role: Role
    label: str = ""
    block: int = 1
    number: int = 0
    lot: Lot | None = None
    no_lot: str = ""
    portion: TestPortion | None = None
    parent: "Place | None" = None
    lacks_parent: bool = False
    is_first: bool = True
    dilution: float = 1.0
    repeat: Repeat = Repeat.NONE
    repeat_cause: str = ""
    rack: int | None = None
    cup: int | None = None
    added_lot: Lot | None = None
    added_mL: float | None = None
    made_up_mL: float | None = None


def number(places: Sequence[Place], tray: Tray | None) -> None:
    """Numbers, rack and cup, and calibration blocks: one begins where a calibration solution stands again."""
    block, held, is_measuring = 1, set[int](), False
    for count, place in enumerate(places, start=1):
        if place.key.kind == "s":
            if is_measuring and place.key.number in held:
                block, held, is_measuring = block + 1, set(), False
            held.add(place.key.number)
        else:
            is_measuring = True
        place.number, place.block = count, block
        place.rack, place.cup = (place_in(tray, count) if tray else None) or (None, None)


def join(places: Sequence[Place], parents: Mapping[int, int]) -> None:
    """Each to the place that it is compared with; what is made of a solution is diluted on top of that one."""
    by_portion = {place.key.number: place for place in reversed(places) if place.key.kind == "p"}
    for place in places:
        of = place.key.of if place.key.kind == "c" else parents.get(place.key.number, 0) * (place.key.kind == "p")
        if not of:
            continue
        place.parent = by_portion.get(of)
        place.lacks_parent = place.parent is None
        if place.parent and place.key.kind == "c":
            own = 1.0 if place.role is Role.STANDARD_ADDITION else place.dilution
            place.dilution = place.parent.dilution * own


def label(places: Sequence[Place]) -> None:
    """What stands on each tube, each once in the run."""
    blank = min((place.key.number for place in places if place.key.kind == "s"), default=0)
    counts: dict[str, int] = {}
    seen: set[str] = set()
    for place in places:
        place.label = _marked(place, blank, counts)
        if place.label in seen and place.portion and place.key.kind == "p":
            place.label = f"{place.label} {place.portion.batch.number}"[:LONGEST_LABEL]
        seen.add(place.label)


def _marked(place: Place, blank: int, counts: dict[str, int]) -> str:
    """The label of a tube. Two portions of one sample may meet in a run: the batch's number then tells them apart."""
    if place.key.kind == "s":
        return f"STD {place.key.number - blank}" + (f" B{place.block}" if place.block > 1 else "")
    if place.key.kind == "p" and place.portion:
        return place.portion.label
    short = SHORT.get(place.role, "QC")
    if place.role not in OF_A_SAMPLE or place.portion is None:
        counts[short] = counts.get(short, 0) + 1
        return f"{short} {counts[short]}"
    own = f"{place.parent.label if place.parent else place.portion.label} {short}"
    counts[own] = counts.get(own, 0) + 1
    is_numbered = counts[own] > 1 or place.role is Role.STANDARD_ADDITION
    return f"{own} {counts[own]}"[-LONGEST_LABEL:] if is_numbered else own[-LONGEST_LABEL:]
