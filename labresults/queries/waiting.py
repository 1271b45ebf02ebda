"""What waits at each station of the path, derived from rows: nothing stores a station.

A sample stands where the least advanced of the methods asked for it stands:

- Preparation: no portion of it has been weighed for the method.
- Runs: weighed, but no result yet; or the result that stands was refused or sent back.
- Review: a result stands and nobody has said anything of it, or results are there and none was selected.
- Certificates: every result that stands is approved, or the method has a result in words; no final certificate yet.
- Reception: nothing is asked for it, so the counter has to ask the client.

A submission leaves the path with a final certificate that is not withdrawn and is younger than its newest request.
Late: due before today.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.core.cache import cache
from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Subquery

from labresults.models import (
    AuditEvent,
    ControlOutcome,
    Equipment,
    EquipmentCheck,
    Evaluation,
    Lot,
    NotMeasuredResult,
    Request,
    Result,
    ReviewedResult,
    Sample,
    Selection,
    Submission,
    Weighing,
)
from labresults.terms import Decision, Role, Station, Verdict

_PATH = list(Station)
_KEEP_S = 3_600


@dataclass(frozen=True)
class Waiting:
    """The samples of one submission that wait at one station."""

    station: Station
    submission: str
    client: str
    matrices: str
    methods: str
    samples: int
    due_on: date

    def days_late(self, today: date) -> int:
        """How many days past its due date; 0 when it is not late."""
        return max(0, (today - self.due_on).days)


@dataclass(frozen=True)
class Stop:
    """Something on the shelf that will stop work soon, or does already."""

    kind: str
    number: str
    what: str
    verb: str
    on: date


def open_work() -> tuple[Waiting, ...]:
    """All that waits, by due date. One query; three when an act was done since it was last asked.

    Nothing can change it without leaving an audit event, so it is kept under the number of the newest one.
    """
    head = AuditEvent.objects.order_by("-seq").values_list("sha256", flat=True).first()
    if head is None:
        return ()
    kept: tuple[Waiting, ...] = cache.get_or_set(f"open-work-{head}", _open_work, _KEEP_S)
    return kept


def at(station: Station) -> tuple[Waiting, ...]:
    """What waits at one station, by due date; queries as `open_work`."""
    return tuple(row for row in open_work() if row.station == station)


def station_of_submission(number: str) -> list[Waiting]:
    """Where the samples of one submission wait, in order of the path; queries as `open_work`."""
    rows = [row for row in open_work() if row.submission == number]
    return sorted(rows, key=lambda row: _PATH.index(row.station))


def _open_work() -> tuple[Waiting, ...]:
    requests = list(newest_open_requests())
    by_sample = _stations_of_samples([request.pk for request in requests])
    rows: list[Waiting] = []
    for request in requests:
        rows += _rows_of(request, by_sample.get(request.submission_id, {}))
    return tuple(sorted(rows, key=lambda row: (row.due_on, row.submission)))


def newest_open_requests() -> QuerySet[Request]:
    """The newest request of each submission that no final certificate has answered yet; part of another query."""
    younger = Request.objects.filter(submission=OuterRef("submission"), version__gt=OuterRef("version"))
    certified = Submission.objects.filter(
        pk=OuterRef("submission"),
        certificates__preliminary=False,
        certificates__withdrawal__isnull=True,
        certificates__made_at__gte=OuterRef("made_at"),
    )
    return (
        Request.objects.filter(~Exists(younger), ~Exists(certified))
        .select_related("submission__client")
        .annotate(samples=Count("submission__samples"))
    )


def _stations_of_samples(request_ids: list[int]) -> dict[int, dict[int, tuple[int, str, set[str]]]]:
    """For each submission and sample: index of the station, matrix, methods that hold it there."""
    found: dict[int, dict[int, tuple[int, str, set[str]]]] = {}
    for row in _sample_and_method(request_ids):
        samples = found.setdefault(row["submission_id"], {})
        place = _PATH.index(_station(row))
        before = samples.get(row["pk"])
        if before is None or place < before[0]:
            samples[row["pk"]] = (place, row["matrix__name"], {row["code"]})
        elif place == before[0]:
            before[2].add(row["code"])
    return found


def _sample_and_method(request_ids: list[int]) -> QuerySet[Sample, dict[str, Any]]:
    """One row for each sample and method asked for it, with what has happened so far."""
    ours = {"sample": OuterRef("pk"), "method": OuterRef("method")}
    standing = Selection.objects.filter(**ours).filter(~Exists(_later_selections()))
    said = ReviewedResult.objects.filter(result=OuterRef("result")).order_by("-pk").values("review__decision")[:1]
    standing = standing.annotate(said=Subquery(said))
    return (
        Sample.objects.filter(
            Q(submission__requests__methods__sample__isnull=True) | Q(submission__requests__methods__sample=F("pk")),
            submission__requests__in=request_ids,
            submission__requests__methods__isnull=False,
        )
        .annotate(method=F("submission__requests__methods__method"))
        .annotate(
            code=F("submission__requests__methods__method__code"),
            in_words=Exists(NotMeasuredResult.objects.filter(**ours, element__isnull=True)),
            weighed=Exists(
                Weighing.objects.filter(
                    portion__role=Role.SAMPLE,
                    portion__subsample__sample=OuterRef("pk"),
                    portion__batch__method_version__method=OuterRef("method"),
                )
            ),
            measured=Exists(
                Result.objects.filter(
                    sample=OuterRef("pk"),
                    is_candidate=True,
                    evaluation__run__method_version__method=OuterRef("method"),
                )
            ),
            selected=Exists(standing),
            unsaid=Exists(standing.filter(said__isnull=True)),
            again=Exists(standing.filter(said__in=[Decision.REFUSE, Decision.SEND_BACK])),
        )
        .values("pk", "submission_id", "matrix__name", "code", *_HAPPENED)
    )


_HAPPENED = ("in_words", "weighed", "measured", "selected", "unsaid", "again")


def _later_selections() -> QuerySet[Selection]:
    return Selection.objects.filter(
        sample=OuterRef("sample"), method=OuterRef("method"), element=OuterRef("element"), pk__gt=OuterRef("pk")
    )


def _station(row: dict[str, Any]) -> Station:
    """Where a sample stands with one method, from what has happened."""
    if row["in_words"]:
        return Station.CERTIFICATES
    if not row["weighed"] and not row["measured"]:
        return Station.PREPARATION
    if not row["measured"] or row["again"]:
        return Station.RUNS
    if row["unsaid"] or not row["selected"]:
        return Station.REVIEW
    return Station.CERTIFICATES


def _rows_of(request: Any, samples: dict[int, tuple[int, str, set[str]]]) -> list[Waiting]:
    """The rows of one submission: samples for which nothing is asked wait at reception."""
    places = Counter(place for place, _, _ in samples.values())
    unasked = request.samples - len(samples)
    if unasked:
        places[_PATH.index(Station.RECEPTION)] += unasked
    return [
        Waiting(
            station=_PATH[place],
            submission=request.submission.number,
            client=request.submission.client.name,
            matrices=", ".join(sorted({matrix for p, matrix, _ in samples.values() if p == place})),
            methods=", ".join(sorted({code for p, _, codes in samples.values() if p == place for code in codes})),
            samples=count,
            due_on=request.due_on,
        )
        for place, count in places.items()
    ]


def newest_evaluations(count: int = 5) -> QuerySet[Evaluation]:
    """The newest evaluations that stand (no later version of the same run), newest first; one query."""
    later = Evaluation.objects.filter(run=OuterRef("run"), version__gt=OuterRef("version"))
    return (
        Evaluation.objects.filter(~Exists(later))
        .select_related("run__method_version__method")
        .order_by("-made_at")[:count]
    )


def failed_checks(evaluations: Iterable[Evaluation]) -> QuerySet[ControlOutcome]:
    """Checks outside their limits that nobody has accepted by name; one query."""
    return (
        ControlOutcome.objects.filter(
            evaluation__in=[evaluation.pk for evaluation in evaluations],
            verdict=Verdict.OUTSIDE,
            acceptance__isnull=True,
        )
        .select_related("evaluation__run", "position", "line", "criterion")
        .order_by("-evaluation__made_at", "position__number", "line__element_id", "line__label")
    )


def stops_soon(today: date, days: int = 14) -> list[Stop]:
    """Lots that expire and equipment whose check is due within so many days, or since as many; two queries."""
    first, last = today - timedelta(days=days), today + timedelta(days=days)
    lots = Lot.objects.filter(expires_on__range=(first, last)).select_related("material")
    stops = [
        Stop("lot", lot.number, lot.material.name, "expired" if lot.expires_on < today else "expires", lot.expires_on)
        for lot in lots
    ]
    due = EquipmentCheck.objects.filter(equipment=OuterRef("pk")).order_by("-done_on", "-pk")
    newest = Equipment.objects.annotate(
        due_on=Subquery(due.values("due_on")[:1]), what=Subquery(due.values("what")[:1])
    ).filter(due_on__lte=last)
    for item in newest:
        verb = "overdue since" if item.due_on < today else "due"
        stops.append(Stop("equipment", item.code, f"{item.name}, {item.what}", verb, item.due_on))
    return sorted(stops, key=lambda stop: (stop.on, stop.number))
