"""What stands where in a run that is planned: standards, checks at their places, test solutions. Nothing is written."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from labresults.acts import BadInput
from labresults.models import Lot, MethodVersion, PlannedControl, Position, TestPortion
from labresults.queries.materials import current_lot
from labresults.queries.run_planning import parents_of
from labresults.terms import Role


@dataclass
class Place:
    """A position while the run list is being made."""

    role: Role
    label: str
    lot: Lot | None = None
    portion: TestPortion | None = None
    parent: "Place | None" = None
    dilution: float = 1.0
    repeat_cause: str = ""
    row: Position = field(default_factory=Position)


def run_order(
    version: MethodVersion,
    portions: Sequence[TestPortion],
    dilutions: Mapping[int, float],
    causes: Mapping[int, str],
    at: datetime,
) -> list[Place]:
    """The run list: standards, checks at the start, test solutions with checks among them, checks at the end.

    dilutions, causes: by key of the portion. Four queries, and one for each material. Raises BadInput when a material
    has no lot that may be used, or a control sample has no sample before it.
    """
    controls = list(version.controls.filter(in_batch=False).select_related("material").order_by("ordinal"))
    lots = {
        material.pk: current_lot(material, at.date())
        for material in [c.material for c in controls if c.material]
        + [s.material for s in version.standards.select_related("material")]
    }
    places = _standards(version, lots)
    counts: dict[str, int] = {}
    for control in controls:
        if control.at_start:
            places.append(_check(control, lots, counts, None))
    by_portion: dict[int, Place] = {}
    parents = parents_of(portions)
    for solution, portion in enumerate(_parents_first(portions, parents), start=1):
        factor = dilutions.get(portion.pk, 1.0)
        place = Place(
            Role(portion.role),
            portion.label,
            lot=portion.lot,
            portion=portion,
            parent=by_portion.get(parents[portion.pk]) if portion.pk in parents else None,
            dilution=factor,
            repeat_cause=causes.get(portion.pk, ""),
        )
        places.append(place)
        by_portion[portion.pk] = place
        more = solution < len(portions)
        for control in controls:
            if control.every and solution % control.every == 0 and (more or not control.at_end):
                places.append(_check(control, lots, counts, _last_sample(places)))
    places += [_check(control, lots, counts, _last_sample(places)) for control in controls if control.at_end]
    _make_labels_unique(places)
    return places


def _standards(version: MethodVersion, lots: Mapping[int, Lot]) -> list[Place]:
    """The calibration blank and the standards, lowest first."""
    return [
        Place(
            Role.CALIBRATION_STANDARD if ordinal else Role.CALIBRATION_BLANK,
            f"STD {ordinal}",
            lot=lots[standard.material_id],
        )
        for ordinal, standard in enumerate(version.standards.order_by("ordinal"))
    ]


def _parents_first(portions: Sequence[TestPortion], parents: Mapping[int, int]) -> list[TestPortion]:
    """The portions in their order, but none before the one that it is compared with: that may stand in a later tube."""
    planned, order, waiting = {p.pk for p in portions}, [], dict[int, list[TestPortion]]()
    for portion in portions:
        parent = parents.get(portion.pk)
        if parent in planned and parent not in {p.pk for p in order}:
            waiting.setdefault(parent, []).append(portion)
        else:
            order += [portion, *waiting.pop(portion.pk, ())]
    return order


def _check(control: PlannedControl, lots: Mapping[int, Lot], counts: dict[str, int], parent: Place | None) -> Place:
    """A control sample made at the instrument; a repeat or serial dilution is of the sample before it."""
    short = {
        Role.INITIAL_VERIFICATION: "ICV",
        Role.CONTINUING_VERIFICATION: "CCV",
        Role.BLANK_CHECK: "CCB",
        Role.LOW_LEVEL_CHECK: "LLC",
        Role.DUPLICATE: "RR",
        Role.SERIAL_DILUTION: "SD",
        Role.RINSE: "RINSE",
    }.get(Role(control.role), "QC")
    counts[short] = counts.get(short, 0) + 1
    of_sample = control.role in {Role.DUPLICATE, Role.SERIAL_DILUTION}
    if of_sample and parent is None:
        raise BadInput(f"A {control.role} needs a sample before it in the run.")
    return Place(
        Role(control.role),
        f"{parent.label} {short}" if of_sample and parent else f"{short} {counts[short]}",
        lot=lots[control.material_id] if control.material_id else None,
        portion=parent.portion if of_sample and parent else None,
        parent=parent if of_sample else None,
        dilution=(parent.dilution if parent and of_sample else 1.0) * (control.dilution or 1.0),
    )


def _last_sample(places: Sequence[Place]) -> Place | None:
    return next((place for place in reversed(places) if place.role == Role.SAMPLE), None)


def _make_labels_unique(places: Sequence[Place]) -> None:
    """Two portions of one sample may meet in a run: the batch's number tells them apart."""
    seen: set[str] = set()
    for place in places:
        if place.label in seen and place.portion:
            place.label = f"{place.label} {place.portion.batch.number}"
        seen.add(place.label)
