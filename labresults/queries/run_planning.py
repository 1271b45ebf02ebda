"""What can be measured next, and what a run of it would hold. Each function says how many database queries it makes."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, NamedTuple

from django.db.models import Count, Exists, F, OuterRef, QuerySet, Subquery

from labresults.models import (
    DiscardedPortion,
    Equipment,
    MethodVersion,
    Position,
    PreparationBatch,
    Run,
    TestPortion,
    Weighing,
)
from labresults.queries.methods import current_versions
from labresults.queries.repeats import NOT_AT_THE_INSTRUMENT, OpenRepeat, open_repeats
from labresults.terms import EquipmentKind, Repeat, Role

PLASMA = [
    ["Light of the plasma", "Its ultraviolet light harms eyes and skin in seconds. Keep the torch box shut."],
    ["Fields", "The generator's radio-frequency and magnetic fields may disturb a pacemaker, a pump or an implant."],
    ["Gases", "Argon and nitrogen both displace air without a warning. Vent them, and mind the oxygen alarm."],
]
"""Cautions at a plasma spectrometer (common practice, no source); local codes and licensed practice decide."""


@dataclass(frozen=True)
class Choice:
    """A method version, how many weighed portions of it wait for a run, and how many are asked for again."""

    version: MethodVersion
    portions: int
    again: int


class Wanted(NamedTuple):
    """How a portion is measured again: its dilution at the instrument, in which way, and the cause in words.

    beside: roles of the control samples that are made of it at the instrument once more.
    """

    factor: float
    kind: Repeat
    cause: str
    beside: frozenset[Role] = frozenset()

    def joined(self, other: "Wanted") -> "Wanted":
        """Both at once: diluted for the reading that is highest, each cause said once."""
        larger = max(self, other, key=lambda each: each.factor)
        cause = self.cause if other.cause in self.cause else f"{self.cause} {other.cause}"
        return Wanted(larger.factor, larger.kind, cause, self.beside | other.beside)


@dataclass(frozen=True)
class Ready:
    """A weighed portion: proposed for the run, at a dilution made at the instrument; `warning` when it is too old.

    kind, cause: how and why it is measured again, where an evaluation asks for it; beside: see `Wanted`.
    """

    portion: TestPortion
    chosen: bool
    factor: float
    measured: bool
    warning: str = ""
    kind: Repeat | None = None
    cause: str = ""
    beside: frozenset[Role] = frozenset()


@dataclass(frozen=True)
class ReadyBatch:
    """A batch with its weighed portions, in the order of their tubes."""

    batch: PreparationBatch
    portions: tuple[Ready, ...]


def choices(on: date) -> list[Choice]:
    """The method versions valid on a day that are measured here, most waiting portions first; seven queries."""
    waiting = dict(
        _weighed()
        .filter(measured=False)
        .order_by()
        .values_list("batch__method_version__method")
        .annotate(Count("pk", distinct=True))
    )
    asked: dict[int, set[int]] = {}
    for repeat in open_repeats():
        asked.setdefault(repeat.run.method_version.method_id, set()).add(repeat.portion.pk)
    found = [
        Choice(version, waiting.get(version.method_id, 0), len(asked.get(version.method_id, ())))
        for version in current_versions(on).values()
        if not version.is_external
    ]
    return sorted(found, key=lambda choice: (-choice.portions, -choice.again, str(choice.version)))


def version_for(code: str, on: date) -> MethodVersion:
    """The version of a method to plan with; one query. Raises MethodVersion.DoesNotExist when none is valid."""
    version = current_versions(on).get(code)
    if version is None:
        raise MethodVersion.DoesNotExist(f"No version of {code} is valid on {on.isoformat()}.")
    return version


def wanted_again(code: str, number: str = "") -> dict[int, Wanted]:
    """What waits to be measured again by a method, by portion, with what it is compared with; at most 10 queries, and
    two more for each generation beyond the first. number: only what this run asks for.
    """
    repeats = [repeat for repeat in open_repeats(code) if number in ("", repeat.run.number)]
    return with_parents(as_wanted(repeats), [repeat.portion for repeat in repeats])


def as_wanted(repeats: Iterable[OpenRepeat]) -> dict[int, Wanted]:
    """What the next run is to hold again, by key of the portion; no query.

    What begins at the bench again is not among them. A failed control sample of a batch is read again with what it
    touches; one that was made at the instrument is made again beside the solution that it was made of.
    """
    found: dict[int, Wanted] = {}
    for repeat in repeats:
        if repeat.kind not in NOT_AT_THE_INSTRUMENT:
            asked, key = _as_asked(repeat), repeat.portion.pk
            found[key] = found[key].joined(asked) if key in found else asked
    return found


def _as_asked(repeat: OpenRepeat) -> Wanted:
    """How the portion of a repeat is measured again; what was made of it here brings its own dilution along."""
    position = repeat.position
    words = f"{repeat.run.number}, position {position.number}: {repeat.why}"
    factor = repeat.factor or position.dilution
    if position.role == repeat.portion.role or position.parent is None:
        return Wanted(factor, repeat.kind, words)
    of_portion = max(1.0, factor * position.parent.dilution / position.dilution)
    return Wanted(of_portion, repeat.kind, words, frozenset({Role(position.role)}))


def with_parents(wanted: Mapping[int, Wanted], portions: Collection[TestPortion]) -> dict[int, Wanted]:
    """The same, and what each is compared with in the same way, where it is not asked for by itself; two queries.

    One that was not measured yet is read at that dilution for the first time.
    """
    found = dict(wanted)
    children = [portion for portion in portions if portion.pk in found]
    while children and (parent_of := parents_of(children)):
        parents = {p.pk: p for p in _weighed().filter(pk__in=set(parent_of.values()) - set(found))}
        for child in {child.pk: child for child in children}.values():
            if parent := parents.get(parent_of.get(child.pk, 0)):
                asked = _compared_with(parent, child, found[child.pk])
                found[parent.pk] = found[parent.pk].joined(asked) if parent.pk in found else asked
        children = list(parents.values())
    return found


def _compared_with(parent: Any, child: TestPortion, asked: Wanted) -> Wanted:
    """How a parent comes along with a child that is measured again. parent: with `measured`."""
    cause = f"Its {child.role} {child.label} is measured again, and compared with it. {asked.cause}"
    return Wanted(asked.factor, asked.kind if parent.measured else Repeat.NONE, cause)


def held_by(run: Run) -> dict[int, Wanted]:
    """What a run that is planned anew holds: prepared portions with dilution, kind and cause; one query."""
    rows = run.positions.filter(portion__isnull=False, role=F("portion__role"))
    return {row.portion_id: Wanted(_asked_of(row), Repeat(row.repeat), row.repeat_cause) for row in rows}


def _asked_of(position: Position) -> float:
    """The dilution that was asked for, which has a cause; any other the method makes by itself."""
    return position.dilution if position.repeat_cause else 1.0


def ready_batches(
    version: MethodVersion, again: Mapping[int, Wanted], at: datetime, *, only: bool = False
) -> list[ReadyBatch]:
    """Batches with portions that no run holds yet, and those of `again`; two queries.

    only: what is in `again` is chosen, and nothing else.
    """
    weighed = _weighed().filter(batch__method_version__method=version.method_id)
    waiting = weighed.none() if only else weighed.filter(measured=False)
    batches = set(waiting.order_by().values_list("batch", flat=True).union(_batches_of(again)))
    first = Weighing.objects.filter(portion=OuterRef("pk")).order_by("version").values("observed_at")[:1]
    rows = (
        weighed.filter(batch__in=batches)
        .annotate(made_up=Subquery(first))
        .select_related("batch__method_version", "subsample__sample__submission", "lot__material")
        .order_by("batch_id", "tube")
    )
    found: dict[PreparationBatch, list[Ready]] = {}
    for portion in rows:
        found.setdefault(portion.batch, []).append(_ready(portion, again.get(portion.pk), at, only))
    return [ReadyBatch(batch, tuple(portions)) for batch, portions in found.items()]


def _batches_of(again: Mapping[int, Wanted]) -> QuerySet[Any]:
    return TestPortion.objects.filter(pk__in=list(again)).order_by().values_list("batch", flat=True)


def _ready(portion: Any, asked: Wanted | None, at: datetime, only: bool) -> Ready:
    """portion: with `measured` and `made_up`."""
    warning = past_life(portion, at)
    if asked is None:
        return Ready(portion, not (only or portion.measured), 1.0, portion.measured, warning)
    kind = None if asked.kind == Repeat.NONE else asked.kind
    return Ready(portion, True, asked.factor, portion.measured, warning, kind, asked.cause, asked.beside)


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


def standing_positions() -> QuerySet[Position]:
    """Positions of runs that no other plan has replaced; no query."""
    return Position.objects.filter(run__replaced_by__isnull=True)


def read_before(portions: Collection[TestPortion], *, apart_from: Run | None = None) -> frozenset[int]:
    """Keys of the portions that a run holds already, apart from one that is planned anew; one query."""
    rows = standing_positions().filter(portion__in=portions)
    if apart_from is not None:
        rows = rows.exclude(run=apart_from)
    return frozenset(key for key in rows.values_list("portion_id", flat=True) if key)


def planned_with(form_key: str) -> Run | None:
    """The run that was planned with this form already; one query, none for an empty key."""
    return Run.objects.filter(form_key=form_key).first() if form_key else None


def spectrometers() -> QuerySet[Equipment]:
    """Instruments to choose from; one query."""
    return Equipment.objects.filter(kind=EquipmentKind.SPECTROMETER).order_by("code")


def cautions(version: MethodVersion) -> list[list[str]]:
    """Heading and words of each caution at the instrument: the method's own, and the plasma's; no query."""
    return [*version.hazards, *(PLASMA if version.is_plasma else [])]


def _weighed() -> QuerySet[TestPortion]:
    """Portions that stand and of which something is recorded; `measured`: a run holds them already."""
    recorded = Exists(Weighing.objects.filter(portion=OuterRef("pk")))
    return TestPortion.objects.filter(recorded, discarded__isnull=True).annotate(
        measured=Exists(standing_positions().filter(portion=OuterRef("pk")))
    )
