"""What stands where in a run that is planned: each key of the list as a place with its lot, portion, rack and cup.

Nothing is written. `run_list_of` makes about twelve queries, whatever the size of the run.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from labresults.acts import BadInput
from labresults.calculation.run_proposal import OF_A_SAMPLE, Key, Solution, parsed, propose
from labresults.calculation.sequence import BrokenRule
from labresults.calculation.sequence_rules import broken_rules
from labresults.calculation.tray import Tray
from labresults.models import Equipment, Lot, MethodVersion, PlannedControl, PlannedStandard, Run, TestPortion
from labresults.queries.materials import current_lots, no_lot
from labresults.queries.run_places import Place, join, label, number
from labresults.queries.run_planning import parents_of, read_before
from labresults.queries.run_rules import control_of, pure_places, rules_of
from labresults.terms import Repeat, Role


@dataclass(frozen=True)
class Plan:
    """What is asked for: portions (with batch and lot loaded) on an instrument, in an order of keys or as proposed.

    dilutions, causes, kinds: by key of the portion: the whole one at the instrument, why it is measured again, and how.
    beside: by the same key, roles of control samples that are made of it at the instrument once more.
    """

    version: MethodVersion
    portions: Sequence[TestPortion]
    instrument: Equipment
    dilutions: Mapping[int, float] = field(default_factory=dict)
    causes: Mapping[int, str] = field(default_factory=dict)
    kinds: Mapping[int, Repeat] = field(default_factory=dict)
    beside: Mapping[int, frozenset[Role]] = field(default_factory=dict)
    order: Sequence[str] | None = None
    replaces: Run | None = None

    @property
    def tray(self) -> Tray | None:
        """The tray of the instrument, where its shape is known."""
        return tray_of(self.instrument)


@dataclass(frozen=True)
class RunList:
    """The list as planned. repeated: keys of the portions that are measured again, or diluted at the instrument.

    insertable: what a person may put into it, as key and words: control samples, then standards.
    """

    places: list[Place]
    broken: tuple[BrokenRule, ...]
    repeated: frozenset[int]
    proposed: bool
    insertable: list[tuple[str, str]]


def _insertable(controls: Sequence[PlannedControl], standards: Sequence[PlannedStandard]) -> list[tuple[str, str]]:
    named = [(f"c{row.ordinal}", f"{row.role}{f', {row.material.code}' if row.material else ''}") for row in controls]
    return named + [(f"s{row.ordinal}", f"calibration, {row.material.code}") for row in standards]


def tray_of(instrument: Equipment) -> Tray | None:
    """The tray of an instrument, or None where its shape is not known; no query."""
    if not (instrument.tray_rows and instrument.tray_columns):
        return None
    return Tray(instrument.tray_racks, instrument.tray_rows, instrument.tray_columns, instrument.tray_by_column)


def run_list_of(plan: Plan, at: datetime) -> RunList:
    """The run list with every rule that it breaks. Raises BadInput for an order that names what is not in the plan."""
    version = plan.version
    controls = list(version.controls.filter(in_batch=False).select_related("material").order_by("ordinal"))
    standards = list(version.standards.select_related("material").order_by("ordinal"))
    parents = parents_of(plan.portions)
    wanted = _proposed(plan, standards, controls, parents)
    order = _keys(plan.order) if plan.order is not None else wanted
    read = read_before(plan.portions, apart_from=plan.replaces)
    lots = current_lots({row.material_id for row in (*standards, *controls) if row.material_id}, at.date())
    maker = _Maker(plan, {s.ordinal: s for s in standards}, {c.ordinal: c for c in controls}, lots, read, at)
    places = [maker.place(key) for key in order]
    number(places, plan.tray)
    join(places, parents)
    label(places)
    rules = rules_of(version, standards, controls, lots, plan.tray)
    repeated = frozenset(read | {key for key, factor in plan.dilutions.items() if factor != 1.0})
    broken = broken_rules(pure_places(places), rules)
    return RunList(places, broken, repeated, order == wanted, _insertable(controls, standards))


def _proposed(
    plan: Plan, standards: Sequence[PlannedStandard], controls: Sequence[PlannedControl], parents: Mapping[int, int]
) -> list[Key]:
    beside = plan.beside
    return list(
        propose(
            [standard.ordinal for standard in standards],
            [control_of(row) for row in controls],
            [Solution(p.pk, Role(p.role), parents.get(p.pk), beside.get(p.pk, frozenset())) for p in plan.portions],
            recalibrate_every=plan.version.recalibrate_every,
            by_additions=plan.version.by_additions,
        )
    )


def _keys(order: Sequence[str]) -> list[Key]:
    keys = [parsed(text) for text in order]
    bad = [text for text, key in zip(order, keys, strict=True) if key is None]
    if bad:
        raise BadInput(f"“{bad[0][:20]}” names nothing that can stand in a run list. Make the list anew.")
    return [key for key in keys if key is not None]


@dataclass
class _Maker:
    """Makes the place of each key; `sample`: the last sample, for what is made of the one before it."""

    plan: Plan
    standards: Mapping[int, PlannedStandard]
    controls: Mapping[int, PlannedControl]
    lots: Mapping[int, Lot]
    read: Collection[int]
    at: datetime
    sample: int = 0

    def __post_init__(self) -> None:
        self.portions = {portion.pk: portion for portion in self.plan.portions}
        self.aliquot_factor = _aliquot_factor(self.plan.version, self.controls.values())

    def place(self, key: Key) -> Place:
        """The place of a key. Raises BadInput where the plan does not hold it."""
        if key.kind == "s" and key.number in self.standards:
            return self._standard(key)
        if key.kind == "p" and key.number in self.portions:
            return self._portion(key)
        if key.kind == "c" and key.number in self.controls:
            return self._control(key)
        raise BadInput(f"The run list names {key}, which is not in this plan. Make the list anew.")

    def _standard(self, key: Key) -> Place:
        standard = self.standards[key.number]
        role = Role.CALIBRATION_BLANK if standard.ordinal == min(self.standards) else Role.CALIBRATION_STANDARD
        lot, missing = self._lot(standard)
        return Place(key, role, lot=lot, no_lot=missing)

    def _portion(self, key: Key) -> Place:
        portion, role = self.portions[key.number], Role(self.portions[key.number].role)
        if role is Role.SAMPLE:
            self.sample = key.number
        asked = self.plan.dilutions.get(key.number, 1.0)
        kind, cause = self._why_again(portion, asked)
        return Place(
            key,
            role,
            lot=portion.lot,
            portion=portion,
            is_first=key.number not in self.read,
            dilution=max(asked, self.aliquot_factor) if role is Role.SAMPLE else asked,
            repeat=kind,
            repeat_cause=cause,
        )

    def _why_again(self, portion: TestPortion, asked: float) -> tuple[Repeat, str]:
        """How and why a portion is measured again; a portion that was prepared again says so itself.

        What was not read before is no repeat, at whatever dilution; that dilution has its cause all the same.
        """
        given = self.plan.causes.get(portion.pk, "")
        if portion.pk not in self.read:
            return Repeat(portion.repeat), portion.repeat_cause or ("" if asked == 1.0 else given)
        return self.plan.kinds.get(portion.pk, Repeat.RE_READ if asked == 1.0 else Repeat.RE_DILUTE), given

    def _control(self, key: Key) -> Place:
        control = self.controls[key.number]
        role, (lot, missing) = Role(control.role), self._lot(control)
        if role not in OF_A_SAMPLE:
            return Place(Key("c", key.number), role, lot=lot, no_lot=missing)
        of = key.of or self.sample
        portion = self.portions.get(of)
        if portion is None:
            return Place(key, role, lacks_parent=True, no_lot=missing)
        place = Place(Key("c", key.number, of), role, portion=portion, dilution=_factor(control), no_lot=missing)
        if control.spike_mL and control.made_up_mL:
            place.added_lot, place.added_mL, place.made_up_mL = lot, control.spike_mL, control.made_up_mL
        else:
            place.lot = lot
        return place

    def _lot(self, row: PlannedStandard | PlannedControl) -> tuple[Lot | None, str]:
        """The lot that a solution is made from, or None and why there is none."""
        lot = self.lots.get(row.material_id) if row.material_id else None
        missing = no_lot(row.material, self.at.date()) if row.material_id and lot is None else ""
        return lot, missing


def _factor(control: PlannedControl) -> float:
    """What a control sample is diluted by, beyond the solution that it is made of: what is added dilutes it too."""
    if control.dilution:
        return float(control.dilution)
    if control.role == Role.POST_DIGESTION_SPIKE and control.spike_mL and control.made_up_mL:
        return float(control.made_up_mL / (control.made_up_mL - control.spike_mL))
    return 1.0


def _aliquot_factor(version: MethodVersion, controls: Collection[PlannedControl]) -> float:
    """How far a sample is diluted that is measured by standard additions, with each of its additions alike.

    The control samples say it; else the aliquot leaves just room for the largest addition.
    """
    additions = [c for c in controls if c.role == Role.STANDARD_ADDITION] if version.by_additions else []
    said = [float(c.dilution) for c in additions if c.dilution]
    room = [float(c.made_up_mL / (c.made_up_mL - c.spike_mL)) for c in additions if c.made_up_mL and c.spike_mL]
    return max(said or room, default=1.0)
