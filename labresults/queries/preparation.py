"""A batch on the bench: its tubes, what was recorded of them, what may be used. Each function says its queries."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet, Subquery
from django.db.models.functions import Upper

from labresults.acts import BadInput
from labresults.calculation.dilution import parse_dilution
from labresults.calculation.errors import CalculationError
from labresults.calculation.portion_window import departures
from labresults.calculation.preparation import content_factor
from labresults.calculation.run import Portion
from labresults.models import (
    DiscardedPortion,
    Equipment,
    EquipmentCheck,
    Layout,
    Lot,
    MethodVersion,
    Override,
    PreparationBatch,
    TestPortion,
    Weighing,
)
from labresults.queries.methods import current_versions
from labresults.terms import EquipmentKind, MaterialKind, Role, SolutionKind, Verdict

CLOSE_PART = 0.1
"""Outer part of the allowed span that is called close (a proposal of this laboratory; common practice, no source)."""


@dataclass(frozen=True)
class Tube:
    """A test portion with all that was recorded of it, newest first, and the labels that a scanner may find on it."""

    portion: TestPortion
    history: tuple[Weighing, ...]
    what: str
    labels: tuple[str, ...]
    hazards: tuple[str, ...] = ()

    @property
    def weighing(self) -> Weighing | None:
        """What stands of the tube."""
        return self.history[0] if self.history else None

    def seen(self, version: int | None) -> Weighing | None:
        """What somebody saw recorded who looked at a version; None: the version that stands."""
        if version is None:
            return self.weighing
        return next((row for row in self.history if row.version == version), None)


def version_in_force(code: str, on: date) -> MethodVersion | None:
    """The version of a method that is valid on a day; one query."""
    return current_versions(on).get(code)


def batch(number: str) -> PreparationBatch:
    """A batch with its method version and reagents; two queries. Raises PreparationBatch.DoesNotExist."""
    return (
        PreparationBatch.objects.select_related("method_version__method", "made_by")
        .prefetch_related("reagents__material")
        .get(number=number)
    )


def tubes_of(on_bench: PreparationBatch) -> list[Tube]:
    """The tubes of a batch that were not discarded, in their order; three queries."""
    newest_first = Prefetch(
        "weighings",
        Weighing.objects.select_related("made_by", "balance", "spike_lot", "internal_standard_lot").order_by(
            "-version"
        ),
    )
    rows = (
        on_bench.portions.filter(discarded__isnull=True)
        .select_related("subsample__sample", "lot__material", "parent", "planned__material")
        .prefetch_related(newest_first)
        .order_by("tube")
    )
    before = _labels_before(on_bench)
    return [_tube(row, before) for row in rows]


def discarded_of(on_bench: PreparationBatch) -> QuerySet[DiscardedPortion]:
    """Portions of a batch that were lost, with the reason and what was taken instead; one query."""
    rows = DiscardedPortion.objects.filter(portion__batch=on_bench)
    return rows.select_related("portion__subsample__sample", "replaced_by", "made_by").order_by("portion__tube")


def balances(on: date) -> QuerySet[Equipment]:
    """Balances by code; one query. Annotated: `done_on`, `due_on` and `passed` of the newest check, `allowed` today."""
    newest = EquipmentCheck.objects.filter(equipment=OuterRef("pk"), done_on__lte=on).order_by("-done_on", "-pk")
    allowed = Override.objects.filter(equipment=OuterRef("pk"), valid_on=on)
    return (
        Equipment.objects.filter(kind=EquipmentKind.BALANCE)
        .annotate(
            done_on=Subquery(newest.values("done_on")[:1]),
            due_on=Subquery(newest.values("due_on")[:1]),
            passed=Subquery(newest.values("passed")[:1]),
            allowed=Exists(allowed),
        )
        .order_by("code")
    )


def is_stopped(balance: Equipment, on: date) -> bool:
    """Whether a balance of `balances` may not be used on a day: overdue, failed or never checked, and not allowed."""
    due = getattr(balance, "due_on", None)
    overdue = due is None or due < on or not getattr(balance, "passed", False)
    return overdue and not getattr(balance, "allowed", False)


def usable_reagents(on: date) -> QuerySet[Lot]:
    """Lots of reagents that have not expired or are allowed by name for a day, by material; one query."""
    return usable_lots(on).filter(material__kind=MaterialKind.REAGENT)


def usable_lots(on: date) -> QuerySet[Lot]:
    """Lots that have not expired or are allowed by name for a day, by material; one query."""
    allowed = Override.objects.filter(lot=OuterRef("pk"), valid_on=on)
    lots = Lot.objects.filter(Q(expires_on__gte=on) | Exists(allowed), received_on__lte=on)
    return lots.select_related("material").order_by("material__name", "number")


def lots_numbered(numbers: Sequence[str]) -> list[Lot]:
    """Lots by their numbers, in capitals or not; one query. Raises BadInput naming those that are not there."""
    wanted = {number.upper() for number in numbers}
    rows = Lot.objects.annotate(asked=Upper("number")).filter(asked__in=wanted).select_related("material")
    found = {lot.number.upper(): lot for lot in rows}
    missing = [number for number in numbers if number.upper() not in found]
    if missing:
        raise BadInput(f"There is no lot {', '.join(missing)}. Scan it again, or register it first.")
    return [found[number.upper()] for number in numbers]


def lots_to_add(tubes: Sequence[Tube], on: date) -> QuerySet[Lot]:
    """Lots that may be spiked into the tubes of a batch on a day; one query."""
    materials = {
        tube.portion.planned.material_id for tube in tubes if tube.portion.role == Role.SPIKE and tube.portion.planned
    }
    return usable_lots(on).filter(material__in=materials)


def internal_standards(version: MethodVersion, on: date) -> QuerySet[Lot]:
    """Lots of standard solutions that hold the element of the method's internal standard; one query."""
    lots = usable_lots(on).filter(material__kind=MaterialKind.STANDARD)
    line = version.internal_standard
    return lots.filter(contents__element=line.element_id).distinct() if line else lots


def layouts() -> QuerySet[Layout]:
    """Saved layouts of balance files, the newest version of each; one query."""
    younger = Layout.objects.filter(name=OuterRef("name"), reads="weighings", version__gt=OuterRef("version"))
    return Layout.objects.filter(~Exists(younger), reads="weighings").order_by("name")


def judge_mass(mass_g: float | None, version: MethodVersion) -> Verdict:
    """How a mass [g] stands in the window of the method version, decided on the value as read."""
    low, high = version.mass_low_g, version.mass_high_g
    if mass_g is None or low is None or high is None:
        return Verdict.NOT_JUDGED
    if not low <= mass_g <= high:
        return Verdict.OUTSIDE
    margin = CLOSE_PART * (high - low)
    return Verdict.CLOSE if min(mass_g - low, high - mass_g) < margin else Verdict.WITHIN


def departures_of(mass_g: float | None, volume_mL: float | None, version: MethodVersion) -> dict[str, str]:
    """What of a portion is not as the method version states it, in words by the quantity; no query."""
    by_volume = version.solution_kind != SolutionKind.MASS_IN_MASS
    return departures(
        mass_g,
        volume_mL if by_volume else None,
        low_g=version.mass_low_g,
        high_g=version.mass_high_g,
        stated_mL=version.volume_mL,
    )


def kept_apart(weighing: Weighing | None, version: MethodVersion) -> list[str]:
    """What was kept although it is not as the method version states it, with by whom and why; no query.

    weighing: with `made_by`.
    """
    if weighing is None:
        return []
    found = departures_of(weighing.mass_g, weighing.volume_mL, version)
    why = f"Kept by {weighing.made_by}: {weighing.reason}" if weighing.reason else f"Recorded by {weighing.made_by}."
    return [f"{words} {why}" for words in found.values()]


def total_dilution(written: str) -> float | None:
    """The total factor of a written dilution [1]; None where it cannot be read. No query."""
    try:
        return parse_dilution(written).factor
    except CalculationError:
        return None


def factor_to_sample(version: MethodVersion, amounts: Mapping[str, float | None], dilution: float) -> float | None:
    """What a concentration in the solution is multiplied by to be the content of the portion; None: not known yet.

    amounts: mass_g, volume_mL, aliquot_mL, solvent_g, internal_standard_g as typed. No query.
    """
    solvent_g = amounts.get("solvent_g")
    if solvent_g is not None:
        solvent_g += amounts.get("internal_standard_g") or 0.0
    portion = Portion(
        key="",
        batch="",
        kind=SolutionKind(version.solution_kind),
        mass_g=amounts.get("mass_g"),
        volume_mL=amounts.get("volume_mL"),
        aliquot_mL=amounts.get("aliquot_mL"),
        solvent_g=solvent_g,
        dilution=dilution,
    )
    try:
        return content_factor(portion, solution_unit=version.solution_unit)
    except CalculationError:
        return None


def _tube(portion: TestPortion, before: Mapping[int, tuple[str, ...]]) -> Tube:
    sample = portion.subsample.sample if portion.subsample else None
    return Tube(
        portion=portion,
        history=tuple(portion.weighings.all()),
        what=what_is_in(portion),
        labels=(portion.label, *before.get(portion.pk, ())),
        hazards=tuple(sample.hazards) if sample else (),
    )


def _labels_before(on_bench: PreparationBatch) -> dict[int, tuple[str, ...]]:
    """For each portion that was taken instead of others: their labels; one query."""
    rows = list(discarded_of(on_bench))
    lost = {row.replaced_by_id: row.portion for row in rows if row.replaced_by_id}
    found: dict[int, tuple[str, ...]] = {}
    for pk in lost:
        labels, at = [], pk
        while at in lost:
            labels.append(lost[at].label)
            at = lost[at].pk
        found[pk] = tuple(labels)
    return found


def what_is_in(portion: TestPortion) -> str:
    """What is in a tube, in words; no query where its sample, lot and parent are loaded."""
    if portion.role == Role.SAMPLE and portion.subsample:
        return portion.subsample.sample.client_identification
    if portion.parent:
        return f"{portion.role} of {portion.parent.label}"
    return f"{portion.role}, {portion.lot.material.name} {portion.lot}" if portion.lot else str(portion.role)
