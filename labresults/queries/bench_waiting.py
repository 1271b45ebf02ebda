"""What waits at the bench, by method and preparation. Each function says how many database queries it makes."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Case, CharField, Count, DateTimeField, Exists, F, Max, OuterRef, Q, QuerySet, Value, When
from django.utils.timezone import localtime

from labresults.acts import BadInput
from labresults.models import Laboratory, Lot, MethodVersion, NotMeasuredResult, PreparationBatch, Sample, TestPortion
from labresults.queries.asked import samples_and_methods
from labresults.queries.methods import current_versions
from labresults.queries.waiting import newest_open_requests
from labresults.terms import MaterialKind, Role


@dataclass(frozen=True)
class Part:
    """The samples of one submission and matrix that wait for a batch of a method; locked ones apart."""

    submission: str
    client: str
    matrix: str
    samples: int
    due_on: date
    locked_until: datetime | None


@dataclass(frozen=True)
class Group:
    """All that waits for one method and its preparation, the part that is due first in front."""

    code: str
    version: MethodVersion | None  # none is valid today
    parts: tuple[Part, ...]

    @property
    def samples(self) -> int:
        """How many samples wait."""
        return sum(part.samples for part in self.parts)

    @property
    def due_on(self) -> date:
        """The day on which the first of them is due."""
        return min(part.due_on for part in self.parts)

    @property
    def locked(self) -> tuple[Part, ...]:
        """The parts that may not begin yet."""
        return tuple(part for part in self.parts if part.locked_until)

    @property
    def ready(self) -> int:
        """How many samples may begin now."""
        return self.samples - sum(part.samples for part in self.locked)

    @property
    def batches(self) -> int:
        """How many batches the samples make."""
        return -(-self.samples // self.version.batch_size) if self.version else 0

    @property
    def hazards(self) -> list[str]:
        """What the method's cautions are about, in a word or two each."""
        return [heading for heading, _ in self.version.hazards] if self.version else []


@dataclass(frozen=True)
class Scanned:
    """What a scanned code is to a batch that is begun: a sample that waits, a lot to use, or words why neither."""

    kind: str  # sample, lot, expired, or nothing
    value: str
    words: str
    key: int = 0  # of the lot


def groups_to_begin(at: datetime) -> list[Group]:
    """What waits for a batch, by method, the oldest due date first; three queries."""
    versions = current_versions(at.date())
    lock = lock_of_acidified()
    locked = Q(acidified_at__gt=at - lock)
    rows = (
        _without_portion()
        .annotate(locked=Case(When(locked, then=F("acidified_at"))))
        .annotate(is_locked=Case(When(locked, then=Value("yes")), default=Value(""), output_field=CharField()))
        .values("code", "submission__number", "submission__client__name", "matrix__name", "due_on", "is_locked")
        .annotate(samples=Count("pk", distinct=True), last=Max("locked"))
        .order_by("due_on", "submission__number", "matrix__name", "is_locked")
    )
    parts: dict[str, list[Part]] = {}
    for row in rows:
        parts.setdefault(row["code"], []).append(_part(row, lock))
    groups = [Group(code, versions.get(code), tuple(found)) for code, found in parts.items()]
    return sorted(groups, key=lambda group: (group.due_on, group.code))


def waiting_count() -> int:
    """How many samples wait for a batch of any method, each once; one query."""
    return _without_portion().values("pk").distinct().count()


def samples_to_begin(code: str, at: datetime) -> QuerySet[Sample]:
    """Samples that wait for a batch of a method, the most urgent first and locked ones last; two queries.

    `locked_until`: when a water that was acidified on arrival may begin.
    """
    lock = lock_of_acidified()
    until = Case(When(acidified_at__gt=at - lock, then=F("acidified_at") + Value(lock)), output_field=DateTimeField())
    return (
        _without_portion()
        .filter(code=code)
        .annotate(locked_until=until)
        .select_related("submission__client", "matrix")
        .order_by(F("locked_until").asc(nulls_first=True), "due_on", "submission__number", "ordinal")
    )


def samples_numbered(numbers: list[str]) -> list[Sample]:
    """Samples by their numbers; one query. Raises BadInput naming those that are not there."""
    found = {row.number: row for row in Sample.objects.filter(number__in=numbers).select_related("submission__client")}
    missing = [number for number in numbers if number not in found]
    if missing:
        raise BadInput(f"There is no sample {', '.join(missing)}. Scan or type it again.")
    return [found[number] for number in numbers]


def lock_of_acidified() -> timedelta:
    """How long a water acidified on arrival waits before it may begin; one query."""
    hours = Laboratory.objects.values_list("acidified_lock_h", flat=True).first()
    return timedelta(hours=hours or 0.0)


def scanned(code: str, version: MethodVersion, at: datetime) -> Scanned:
    """What a scanned label is to a batch of the method version; at most six queries.

    code: what the scanner typed: a laboratory number, or the number of a lot.
    """
    lot = Lot.objects.filter(number__iexact=code).select_related("material").first()
    if lot:
        return _scanned_lot(lot, at.date())
    sample = Sample.objects.filter(number__iexact=code).select_related("submission").first()
    if sample is None:
        return Scanned("nothing", code, f"“{code}” is neither a sample nor a lot of this laboratory.")
    waiting = samples_to_begin(version.method.code, at).filter(pk=sample.pk).first()
    if waiting is None:
        return Scanned(
            "nothing", sample.number, f"{sample.number} does not wait for {version.method}: {_why(sample, version)}"
        )
    if waiting.locked_until:
        words = f"{sample.number} was acidified on arrival and may begin {_moment(waiting.locked_until)}."
        return Scanned("nothing", sample.number, words)
    return Scanned("sample", sample.number, f"{sample.number}, {sample.client_identification}, is in.")


def _scanned_lot(lot: Lot, on: date) -> Scanned:
    """A lot by its state on a day; one query."""
    named = f"{lot.number}, {lot.material.name},"
    if lot.material.kind != MaterialKind.REAGENT:
        return Scanned("nothing", lot.number, f"{named} is a {lot.material.kind}: it is named where it is used.")
    if lot.expires_on >= on:
        return Scanned("lot", lot.number, f"{named} holds until {lot.expires_on.isoformat()}: it is in.", lot.pk)
    if lot.overrides.filter(valid_on=on).exists():
        return Scanned("lot", lot.number, f"{named} has expired and is allowed by name for today: it is in.", lot.pk)
    return Scanned("expired", lot.number, f"{named} expired on {lot.expires_on.isoformat()}. Take another lot.")


def _why(sample: Sample, version: MethodVersion) -> str:
    """Why a sample does not wait for a method, in words; at most three queries."""
    if sample.struck_at:
        return f"it was struck from {sample.submission.number}."
    begun = _begun(sample, version)
    if begun:
        return f"it is in {begun.batch.number} already, tube {begun.tube}."
    request = sample.submission.requests.order_by("-version").first()
    asked = request and request.methods.filter(Q(sample__isnull=True) | Q(sample=sample), method=version.method_id)
    if not (asked and asked.exists()):
        return f"{sample.submission.number} does not ask for it."
    if NotMeasuredResult.objects.filter(sample=sample, method=version.method_id, element__isnull=True).exists():
        return "it has a result in words."
    return f"{sample.submission.number} has its certificate."


def _begun(sample: Sample, version: MethodVersion) -> TestPortion | None:
    rows = TestPortion.objects.filter(
        role=Role.SAMPLE,
        subsample__sample=sample,
        batch__method_version__method=version.method_id,
        discarded__isnull=True,
    )
    return rows.select_related("batch").order_by("-pk").first()


def open_batches() -> list[PreparationBatch]:
    """Batches with a tube of which nothing is recorded, with counts of tubes; one query. Discarded ones are out."""
    kept = Q(portions__discarded__isnull=True)
    recorded = Count("portions", filter=kept & Q(portions__weighings__isnull=False), distinct=True)
    return list(
        PreparationBatch.objects.annotate(tubes=Count("portions", filter=kept, distinct=True), recorded=recorded)
        .filter(recorded__lt=F("tubes"))
        .select_related("method_version__method", "made_by")
        .order_by("pk")
    )


def batches_by_code(batches: Iterable[PreparationBatch]) -> dict[str, list[PreparationBatch]]:
    """The batches by the code of their method; no query."""
    found: dict[str, list[PreparationBatch]] = {}
    for batch in batches:
        found.setdefault(batch.method_version.method.code, []).append(batch)
    return found


def _part(row: dict[str, Any], lock: timedelta) -> Part:
    return Part(
        submission=row["submission__number"],
        client=row["submission__client__name"],
        matrix=row["matrix__name"],
        samples=row["samples"],
        due_on=row["due_on"],
        locked_until=row["last"] + lock if row["is_locked"] else None,
    )


def _without_portion() -> QuerySet[Sample]:
    """Samples asked for by a method without a portion in a batch of it; `code` and `due_on` are annotated."""
    begun = TestPortion.objects.filter(
        role=Role.SAMPLE,
        subsample__sample=OuterRef("pk"),
        batch__method_version__method=OuterRef("method"),
        discarded__isnull=True,
    )
    in_words = NotMeasuredResult.objects.filter(sample=OuterRef("pk"), method=OuterRef("method"), element__isnull=True)
    return (
        samples_and_methods(newest_open_requests().values("pk"))
        .annotate(due_on=F("submission__requests__due_on"))
        .filter(~Exists(begun), ~Exists(in_words))
    )


def _moment(at: datetime) -> str:
    """A moment as pages say it, in the laboratory's own time."""
    return f"{localtime(at):%a %d %b, %H:%M}"
