"""What waits at the bench, and what lies on it. Each function says how many database queries it makes."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Exists, F, OuterRef, Prefetch, Q, QuerySet

from labresults.models import (
    Equipment,
    Lot,
    MethodVersion,
    NotMeasuredResult,
    PreparationBatch,
    Sample,
    TestPortion,
    Weighing,
)
from labresults.queries.methods import current_versions
from labresults.queries.waiting import newest_open_requests
from labresults.readers.weighings import read_weighings
from labresults.terms import EquipmentKind, MaterialKind, Role, Verdict

CLOSE_PART = 0.1
"""Outer part of the allowed span that is called close (a proposal of this laboratory; common practice, no source)."""


@dataclass(frozen=True)
class Waits:
    """Samples of one submission that no batch of a method holds yet."""

    version: MethodVersion | None  # none is valid today
    code: str
    submission: str
    client: str
    samples: int
    due_on: date


@dataclass(frozen=True)
class Tube:
    """A test portion with what was recorded of it last."""

    portion: TestPortion
    weighing: Weighing | None
    what: str


def to_begin(on: date) -> list[Waits]:
    """What waits for a batch, by due date; three queries."""
    versions = current_versions(on)
    rows = (
        _without_portion()
        .values("code", "submission__number", "submission__client__name", "due_on")
        .annotate(samples=Count("pk", distinct=True))
        .order_by("due_on", "submission__number", "code")
    )
    return [
        Waits(
            version=versions.get(row["code"]),
            code=row["code"],
            submission=row["submission__number"],
            client=row["submission__client__name"],
            samples=row["samples"],
            due_on=row["due_on"],
        )
        for row in rows
    ]


def samples_to_begin(code: str) -> QuerySet[Sample]:
    """Samples that wait for a batch of a method, the most urgent first; one query."""
    return (
        _without_portion()
        .filter(code=code)
        .select_related("submission__client", "matrix")
        .order_by("due_on", "submission__number", "ordinal")
    )


def samples_numbered(numbers: list[str]) -> list[Sample]:
    """Samples by their numbers; one query. Raises Sample.DoesNotExist naming those that are not there."""
    found = {row.number: row for row in Sample.objects.filter(number__in=numbers).select_related("submission__client")}
    missing = [number for number in numbers if number not in found]
    if missing:
        raise Sample.DoesNotExist(f"There is no sample {', '.join(missing)}.")
    return [found[number] for number in numbers]


def version_in_force(code: str, on: date) -> MethodVersion | None:
    """The version of a method that is valid on a day; one query."""
    return current_versions(on).get(code)


def open_batches() -> list[PreparationBatch]:
    """Batches with a tube of which nothing is recorded, with counts of tubes; one query."""
    recorded = Count("portions", filter=Q(portions__weighings__isnull=False), distinct=True)
    return list(
        PreparationBatch.objects.annotate(tubes=Count("portions", distinct=True), recorded=recorded)
        .filter(recorded__lt=F("tubes"))
        .select_related("method_version__method", "made_by")
        .order_by("pk")
    )


def batch(number: str) -> PreparationBatch:
    """A batch with its method version and reagents; two queries. Raises PreparationBatch.DoesNotExist."""
    return (
        PreparationBatch.objects.select_related("method_version__method", "made_by")
        .prefetch_related("reagents__material")
        .get(number=number)
    )


def tubes_of(on_bench: PreparationBatch) -> list[Tube]:
    """The tubes of a batch in their order, each with what was recorded last; two queries."""
    newest_first = Prefetch("weighings", Weighing.objects.select_related("made_by", "balance").order_by("-version"))
    rows = (
        on_bench.portions.select_related("subsample__sample", "lot__material", "parent")
        .prefetch_related(newest_first)
        .order_by("tube")
    )
    return [Tube(row, next(iter(row.weighings.all()), None), _what(row)) for row in rows]


def balances() -> QuerySet[Equipment]:
    """Balances by code; one query."""
    return Equipment.objects.filter(kind=EquipmentKind.BALANCE).order_by("code")


def usable_reagents(on: date) -> QuerySet[Lot]:
    """Lots of reagents that have not expired, by material; one query."""
    reagents = Lot.objects.filter(expires_on__gte=on, material__kind=MaterialKind.REAGENT)
    return reagents.select_related("material").order_by("material__name", "number")


def judge_mass(mass_g: float | None, version: MethodVersion) -> Verdict:
    """How a mass [g] stands in the window of the method version, decided on the value as read."""
    low, high = version.mass_low_g, version.mass_high_g
    if mass_g is None or low is None or high is None:
        return Verdict.NOT_JUDGED
    if not low <= mass_g <= high:
        return Verdict.OUTSIDE
    margin = CLOSE_PART * (high - low)
    return Verdict.CLOSE if min(mass_g - low, high - mass_g) < margin else Verdict.WITHIN


def lines_of_file(content: bytes) -> tuple[list[dict[str, str]], list[str]]:
    """Rows of a file of weighings as texts by name (label, mass_g, ...), and its problems in words; no query."""
    file = read_weighings(content)
    names = ("mass_g", "volume_mL", "aliquot_mL", "solvent_g", "dilution", "moisture_percent")
    lines = []
    for row in file.weighings:
        amounts = {name: getattr(row, name) for name in names}
        lines.append({"label": row.label} | {name: amount.text for name, amount in amounts.items() if amount})
    return lines, [str(problem) for problem in file.problems]


def _without_portion() -> QuerySet[Sample]:
    """Samples asked for by a method without a portion in a batch of it; `code` and `due_on` are annotated."""
    begun = TestPortion.objects.filter(
        role=Role.SAMPLE, subsample__sample=OuterRef("pk"), batch__method_version__method=OuterRef("method")
    )
    in_words = NotMeasuredResult.objects.filter(sample=OuterRef("pk"), method=OuterRef("method"), element__isnull=True)
    return (
        Sample.objects.filter(
            Q(submission__requests__methods__sample__isnull=True) | Q(submission__requests__methods__sample=F("pk")),
            submission__requests__in=newest_open_requests().values("pk"),
            submission__requests__methods__isnull=False,
        )
        .annotate(
            method=F("submission__requests__methods__method"),
            code=F("submission__requests__methods__method__code"),
            due_on=F("submission__requests__due_on"),
        )
        .filter(~Exists(begun), ~Exists(in_words))
    )


def _what(portion: TestPortion) -> str:
    """What is in a tube, in words."""
    if portion.role == Role.SAMPLE and portion.subsample:
        return portion.subsample.sample.client_identification
    if portion.parent:
        return f"{portion.role} of {portion.parent.label}"
    return f"{portion.role}, {portion.lot.material.name} {portion.lot}" if portion.lot else str(portion.role)
