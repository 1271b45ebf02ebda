"""What can be measured next, and what a run of it would hold. Each function says how many database queries it makes."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Count, Exists, OuterRef, QuerySet, Subquery

from labresults.models import (
    DiscardedPortion,
    Equipment,
    MethodVersion,
    PlannedControl,
    Position,
    PreparationBatch,
    TestPortion,
    Weighing,
)
from labresults.queries.methods import current_versions
from labresults.terms import EquipmentKind


@dataclass(frozen=True)
class Choice:
    """A method version and how many weighed portions of it wait for a run."""

    version: MethodVersion
    portions: int


@dataclass(frozen=True)
class Ready:
    """A weighed portion: proposed for the run, at a dilution made at the instrument; `warning` when it is too old."""

    portion: TestPortion
    chosen: bool
    factor: float
    measured: bool
    warning: str = ""


@dataclass(frozen=True)
class ReadyBatch:
    """A batch with its weighed portions, in the order of their tubes."""

    batch: PreparationBatch
    portions: tuple[Ready, ...]


def choices(on: date) -> list[Choice]:
    """The method versions valid on a day that are measured here, most waiting portions first; two queries."""
    waiting = dict(
        _weighed()
        .filter(measured=False)
        .order_by()
        .values_list("batch__method_version__method")
        .annotate(Count("pk", distinct=True))
    )
    found = [
        Choice(version, waiting.get(version.method_id, 0))
        for version in current_versions(on).values()
        if not version.is_external
    ]
    return sorted(found, key=lambda choice: (-choice.portions, str(choice.version)))


def version_for(code: str, on: date) -> MethodVersion:
    """The version of a method to plan with; one query. Raises MethodVersion.DoesNotExist when none is valid."""
    version = current_versions(on).get(code)
    if version is None:
        raise MethodVersion.DoesNotExist(f"No version of {code} is valid on {on.isoformat()}.")
    return version


def ready_batches(version: MethodVersion, again: dict[int, float], at: datetime) -> list[ReadyBatch]:
    """Batches with portions that no run holds yet, and those of `again`: factor by portion; one query."""
    first = Weighing.objects.filter(portion=OuterRef("pk")).order_by("version").values("observed_at")[:1]
    rows = (
        _weighed()
        .filter(batch__method_version__method=version.method_id)
        .annotate(made_up=Subquery(first))
        .select_related("batch__method_version", "subsample__sample__submission", "parent")
        .order_by("batch_id", "tube")
    )
    batches: dict[PreparationBatch, list[Ready]] = {}
    for portion in rows:
        chosen = portion.pk in again if again else not portion.measured
        batches.setdefault(portion.batch, []).append(
            Ready(portion, chosen, again.get(portion.pk, 1.0), portion.measured, past_life(portion, at))
        )
    return [ReadyBatch(batch, tuple(found)) for batch, found in batches.items() if _is_wanted(found, again)]


def past_life(portion: TestPortion, at: datetime) -> str:
    """In words, that a test solution is older than its method version lets it be, or ""; no query.

    portion: as `ready_batches` loads it, with `made_up`.
    """
    life_h = portion.batch.method_version.digest_life_h
    age_h = (at - portion.made_up).total_seconds() / 3600  # type: ignore[attr-defined]
    if life_h is None or age_h <= life_h:
        return ""
    return f"made up {age_h:.0f} h ago: {portion.batch.method_version} keeps it for {life_h:g} h"


def parents_of(portions: Collection[TestPortion]) -> dict[int, int]:
    """By key of a portion, the key of the one that it is compared with; one query.

    That is its parent; where the parent was discarded, what was taken instead of it.
    """
    gone = dict(
        DiscardedPortion.objects.filter(
            portion__batch__in={p.batch_id for p in portions}, replaced_by__isnull=False
        ).values_list("portion_id", "replaced_by_id")
    )
    found = {portion.pk: portion.parent_id for portion in portions if portion.parent_id}
    while moved := {pk: gone[parent] for pk, parent in found.items() if parent in gone}:
        found |= moved
    return found


def spectrometers() -> QuerySet[Equipment]:
    """Instruments to choose from; one query."""
    return Equipment.objects.filter(kind=EquipmentKind.SPECTROMETER).order_by("code")


def what_is_added(version: MethodVersion, solutions: int) -> list[str]:
    """In words, what the method version puts into a run of so many test solutions, in order; two queries."""
    standards = version.standards.count()
    words = [f"calibration blank and {standards - 1} standards"] if standards else []
    for control in version.controls.filter(in_batch=False).select_related("material").order_by("ordinal"):
        count = _occurrences(control, solutions)
        if count:
            material = f", {control.material.code}" if control.material else ""
            words.append(f"{count} × {control.role}{material} ({_places(control)})")
    return words


def _weighed() -> QuerySet[TestPortion]:
    """Portions that stand and of which something is recorded; `measured`: a run holds them already."""
    recorded = Exists(Weighing.objects.filter(portion=OuterRef("pk")))
    return TestPortion.objects.filter(recorded, discarded__isnull=True).annotate(
        measured=Exists(Position.objects.filter(portion=OuterRef("pk")))
    )


def _is_wanted(portions: Collection[Ready], again: dict[int, float]) -> bool:
    return any(ready.chosen if again else not ready.measured for ready in portions)


def _occurrences(control: PlannedControl, solutions: int) -> int:
    """How often a control sample stands in a run of so many test solutions, as the act places it."""
    among = solutions // control.every if control.every else 0
    if control.at_end and control.every and solutions % control.every == 0:
        among -= 1
    return int(control.at_start) + max(0, among) + int(control.at_end)


def _places(control: PlannedControl) -> str:
    parts = ["at the start"] if control.at_start else []
    if control.every:
        parts.append(f"after every {control.every} test solutions")
    if control.at_end:
        parts.append("at the end")
    return ", ".join(parts)
