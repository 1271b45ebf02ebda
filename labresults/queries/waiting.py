"""What waits at each station of the path, derived from rows: nothing stores a station.

A sample stands where the least advanced of the methods asked for it stands:

- Preparation: no portion of it has been weighed for the method; or a result that stands was sent back to be prepared
  anew, and no later batch has it weighed.
- Runs: weighed, but no result yet; or the result that stands was refused or sent back.
- Review: a result stands and nobody has said anything of it, or its moisture was recorded since it was approved, or
  results are there and none was selected.
- Certificates: every result that stands is approved, or the method has a result in words; no final certificate yet.
- Reception: nothing is asked for it, so the counter has to ask the client.

A submission leaves the path with a final certificate that is not withdrawn and is younger than its newest request.
Late: due before today.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.core.cache import cache
from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Subquery

from labresults.models import (
    AuditEvent,
    NotMeasuredResult,
    Request,
    Result,
    Sample,
    Weighing,
)
from labresults.queries.asked import samples_and_methods
from labresults.queries.issued import answered
from labresults.queries.overtaken import said_and_holding
from labresults.queries.turned_down import standing, to_prepare, turned_down
from labresults.terms import Role, Station

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
class MethodWait:
    """The samples of one submission that stand at one station with one method; with another they may be elsewhere."""

    station: Station
    method: str
    submission: str
    samples: int
    due_on: date


@dataclass(frozen=True)
class _Open:
    """What is kept until the next act."""

    waiting: tuple[Waiting, ...] = ()
    by_method: tuple[MethodWait, ...] = ()


def open_work() -> tuple[Waiting, ...]:
    """All that waits, by due date. One query; three when an act was done since it was last asked, two at the start, one
    or two where nothing is open.

    Nothing can change it without leaving an audit event, so it is kept under the number of the newest one.
    """
    return _kept().waiting


def open_methods() -> tuple[MethodWait, ...]:
    """The same, method by method, by due date; queries as `open_work`."""
    return _kept().by_method


def at(station: Station) -> tuple[Waiting, ...]:
    """What waits at one station, by due date; queries as `open_work`."""
    return tuple(row for row in open_work() if row.station == station)


def station_of_submission(number: str) -> list[Waiting]:
    """Where the samples of one submission wait, in order of the path; queries as `open_work`."""
    rows = [row for row in open_work() if row.submission == number]
    return sorted(rows, key=lambda row: _PATH.index(row.station))


def stations_of_sample(sample: Sample) -> list[tuple[Station, str]]:
    """Where one sample stands with each method asked for it, and the method's code, by the path; two queries.

    Empty for a sample that waits for nothing: its submission has its certificate, or it was struck.
    """
    requests = newest_open_requests().filter(submission=sample.submission_id)
    rows = list(_sample_and_method([request.pk for request in requests]).filter(pk=sample.pk))
    stands = sorted((_PATH.index(_station(row)), row["code"]) for row in rows)
    if requests and not rows and not sample.struck_at:
        return [(Station.RECEPTION, "")]
    return [(_PATH[place], code) for place, code in stands]


def _kept() -> _Open:
    kept: tuple[str, _Open] | None = cache.get("open-work")
    if kept is not None and kept[0] == _head():
        return kept[1]
    head = Subquery(AuditEvent.objects.order_by("-seq").values("sha256")[:1])
    requests = list(newest_open_requests().annotate(head=head))
    if not requests:
        return _Open()  # not kept: no row says which event was the newest when there was none
    found = _open(requests)
    cache.set("open-work", (requests[0].head, found), _KEEP_S)  # type: ignore[attr-defined]
    return found


def _head() -> str | None:
    """The newest event's SHA-256; one query."""
    return AuditEvent.objects.order_by("-seq").values_list("sha256", flat=True).first()


def _open(requests: Sequence[Request]) -> _Open:
    happened = list(_sample_and_method([request.pk for request in requests]))
    by_sample = _stations_of_samples(happened)
    waiting = [row for request in requests for row in _rows_of(request, by_sample.get(request.submission_id, {}))]
    due = {request.submission_id: request for request in requests}
    counted = Counter((row["submission_id"], row["code"], _station(row)) for row in happened)
    by_method = [
        MethodWait(station, code, due[key].submission.number, samples, due[key].due_on)
        for (key, code, station), samples in counted.items()
    ]
    return _Open(
        tuple(sorted(waiting, key=lambda row: (row.due_on, row.submission))),
        tuple(sorted(by_method, key=lambda row: (row.due_on, row.submission))),
    )


def newest_open_requests() -> QuerySet[Request]:
    """The newest request of each submission that no final certificate has answered yet; part of another query."""
    younger = Request.objects.filter(submission=OuterRef("submission"), version__gt=OuterRef("version"))
    return (
        Request.objects.filter(~Exists(younger), ~answered())
        .select_related("submission__client")
        .annotate(samples=Count("submission__samples", filter=Q(submission__samples__struck_at=None)))
    )


def _stations_of_samples(happened: Iterable[dict[str, Any]]) -> dict[int, dict[int, tuple[int, str, set[str]]]]:
    """For each submission and sample: index of the station, matrix, methods that hold it there."""
    found: dict[int, dict[int, tuple[int, str, set[str]]]] = {}
    for row in happened:
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
    stands = standing().filter(**ours)
    again = turned_down(stands)
    return (
        samples_and_methods(request_ids)
        .annotate(
            in_words=Exists(NotMeasuredResult.objects.filter(**ours, element__isnull=True)),
            weighed=Exists(
                Weighing.objects.filter(
                    portion__role=Role.SAMPLE,
                    portion__discarded__isnull=True,
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
            selected=Exists(stands),
            unsaid=Exists(stands.filter(~Exists(said_and_holding()))),
            again=Exists(again),
            anew=Exists(to_prepare(again)),
        )
        .values("pk", "submission_id", "matrix__name", "code", *_HAPPENED)
    )


_HAPPENED = ("in_words", "weighed", "measured", "selected", "unsaid", "again", "anew")


def _station(row: dict[str, Any]) -> Station:
    """Where a sample stands with one method, from what has happened."""
    if row["in_words"]:
        return Station.CERTIFICATES
    if row["anew"] or not (row["weighed"] or row["measured"]):
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
