"""What is late, what is due, and what will be late at the present pace. Each function says its database queries.

A pace is taken from the last twenty working days up to yesterday, for each station and method: samples weighed for the
first time, measured for the first time, decided about, and put on a certificate for the first time, divided by the
working days on which something waited there.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.core.cache import cache
from django.db.models import Count, Max, Min, Q, QuerySet
from django.utils import timezone

from labresults.calculation.errors import NoWorkingDay
from labresults.calculation.pace import LOOKED_BACK_DAYS, Forecast, Stage, busy_days, forecast
from labresults.calculation.working_days import Calendar, due_day, first_day_of_last
from labresults.models import Position, ReviewedResult, Submission, Weighing
from labresults.queries.calendar import calendar
from labresults.queries.issued import first_issued
from labresults.queries.waiting import MethodWait, Waiting, open_methods, open_work
from labresults.terms import Role, Station

_KEEP_S = 86_400  # what left before today changes no more
_PATH = [Station.PREPARATION, Station.RUNS, Station.REVIEW]  # by method; certificates go out by the submission

Place = tuple[Station, str]
"""A station and the code of a method; no code at Certificates."""

_LAST: Place = (Station.CERTIFICATES, "")


@dataclass(frozen=True)
class _Left:
    """Samples of one submission that left a place: on which days the first and the last of them."""

    samples: int
    first: date
    last: date


@dataclass(frozen=True)
class _Past:
    """What left each place since a day, by submission, and when the submissions received since then came."""

    since: date
    left: Mapping[Place, Mapping[str, _Left]]
    received: Mapping[str, date]


@dataclass(frozen=True)
class _Pace:
    """How many samples left a place, and the working days on which something waited there."""

    finished: int = 0
    busy_days: float = 0.0


@dataclass(frozen=True)
class Expected:
    """One open submission: when it is due, and when it is done at the present pace.

    at: the stations where its samples stand, in order of the path.
    """

    submission: str
    client: str
    samples: int
    at: tuple[Station, ...]
    due_on: date
    forecast: Forecast

    def days_late(self, today: date) -> int:
        """How many days past its due date; 0 when it is not late."""
        return max(0, (today - self.due_on).days)

    @property
    def will_be_late(self) -> bool:
        """Whether it is done after its due date at the present pace."""
        return self.forecast.finish is not None and self.forecast.finish > self.due_on


@dataclass(frozen=True)
class Outlook:
    """The open submissions that ask for a look, by due date: late, due by the next open day, or late at this pace.

    unknown: the places that open submissions have still to pass and that have no pace.
    """

    pressing: tuple[Expected, ...]
    unknown: tuple[Place, ...]
    looked_back_days: int = LOOKED_BACK_DAYS
    slow: frozenset[str] = frozenset()  # numbers of those that are not late and will be


def outlook(today: date) -> Outlook:
    """What is late, due and will be late; eleven queries, four when it was asked before and nothing was done since."""
    worked, waits = calendar(), open_methods()
    expected = _expected(today, worked, waits, _paces(today, worked, waits))
    soon = due_day(today, 0.5, worked)
    unknown = {(Station(stage.station), stage.method) for row in expected for stage in row.forecast.unknown}
    return Outlook(
        pressing=tuple(row for row in expected if row.due_on <= soon or row.will_be_late),
        unknown=tuple(sorted(unknown)),
        slow=frozenset(row.submission for row in expected if row.will_be_late and row.due_on >= today),
    )


def _paces(today: date, worked: Calendar, waits: Iterable[MethodWait]) -> dict[Place, _Pace]:
    """The pace of each place up to yesterday; five queries in a day.

    What left a place before today changes no more, so it is kept; what waits now has waited since it left the place
    before.
    """
    yesterday = today - timedelta(days=1)
    try:
        since = first_day_of_last(yesterday, LOOKED_BACK_DAYS, worked)
    except NoWorkingDay:
        return {}
    past: _Past = cache.get_or_set(f"left-{since}-{today}", lambda: _past(since, today), _KEEP_S)
    waiting, paces = _waiting(waits), {}
    for place, left in past.left.items():
        spans = [(_arrived(place, number, past), gone.last) for number, gone in left.items()]
        spans += [(_arrived(place, number, past), yesterday) for number in waiting.get(place, ())]
        paces[place] = _Pace(sum(gone.samples for gone in left.values()), busy_days(spans, worked))
    return paces


def _waiting(waits: Iterable[MethodWait]) -> dict[Place, set[str]]:
    """Submissions that wait at each place; at Certificates only those that have nothing elsewhere; no query."""
    found: dict[Place, set[str]] = {}
    for row in waits:
        found.setdefault((row.station, row.method) if row.station in _PATH else _LAST, set()).add(row.submission)
    elsewhere = {number for place, numbers in found.items() if place != _LAST for number in numbers}
    found[_LAST] = found.get(_LAST, set()) - elsewhere
    return found


def _arrived(place: Place, number: str, past: _Past) -> date:
    """When the first samples of a submission came to a place: when they left the one before it; no query."""
    station, method = place
    if station == Station.PREPARATION:
        return past.received.get(number, past.since)
    if station == Station.CERTIFICATES:
        reviewed = [left[number].last for (at, _), left in past.left.items() if at == Station.REVIEW and number in left]
        return max(reviewed, default=past.since)
    before = past.left.get((_PATH[_PATH.index(station) - 1], method), {}).get(number)
    return before.first if before else past.since


def _past(since: date, today: date) -> _Past:
    """What left each place from a day up to yesterday; five queries."""
    zone = timezone.get_current_timezone()
    period = (datetime.combine(since, time(), zone), datetime.combine(today, time(), zone))
    left: dict[Place, dict[str, _Left]] = {}
    for place, number, gone in _departures(period):
        left.setdefault(place, {})[number] = gone
    received = Submission.objects.filter(received_at__gte=period[0]).values_list("number", "received_at")
    return _Past(since, left, {number: _local_day(at) for number, at in received})


def _departures(period: tuple[datetime, datetime]) -> Iterator[tuple[Place, str, _Left]]:
    """Samples that left each place in a period, by submission; six queries."""
    of_portion, of_run = "portion__subsample__sample", "run__method_version__method__code"
    weighed = Weighing.objects.filter(version=1, portion__role=Role.SAMPLE, **_within("made_at", period))
    yield from _left(
        Station.PREPARATION, weighed, "portion__batch__method_version__method__code", of_portion, "made_at"
    )
    measured = Position.objects.filter(
        role=Role.SAMPLE, run__evaluations__version=1, **_within("run__evaluations__made_at", period)
    )
    yield from _left(Station.RUNS, measured, of_run, of_portion, "run__evaluations__made_at")
    decided = ReviewedResult.objects.filter(**_within("review__made_at", period))
    yield from _left(Station.REVIEW, decided, f"result__evaluation__{of_run}", "result__sample", "review__made_at")
    issued = first_issued(*period)
    rows = Submission.objects.filter(pk__in=issued).annotate(
        samples_left=Count("samples", filter=Q(samples__struck_at=None))
    )
    for key, number, samples in rows.values_list("pk", "number", "samples_left"):
        yield _LAST, number, _Left(samples, _local_day(issued[key]), _local_day(issued[key]))


def _local_day(at: datetime) -> date:
    return timezone.localtime(at).date()


def _within(field: str, period: tuple[datetime, datetime]) -> dict[str, datetime]:
    return {f"{field}__gte": period[0], f"{field}__lt": period[1]}


def _left(
    station: Station, rows: QuerySet[Any, Any], method: str, sample: str, when: str
) -> Iterator[tuple[Place, str, _Left]]:
    """Rows counted by method and submission, each sample once; one query."""
    counted = rows.order_by().values_list(method, f"{sample}__submission__number")
    for code, number, samples, first, last in counted.annotate(
        samples_left=Count(sample, distinct=True), first_left=Min(when), last_left=Max(when)
    ):
        yield (station, code), number, _Left(samples, _local_day(first), _local_day(last))


def _expected(
    today: date, worked: Calendar, waits: Iterable[MethodWait], paces: Mapping[Place, _Pace]
) -> list[Expected]:
    """Every open submission, in due order; the queries of `open_work`."""
    rows: dict[str, list[Waiting]] = {}
    for row in open_work():
        rows.setdefault(row.submission, []).append(row)
    methods: dict[str, list[MethodWait]] = {}
    for wait in waits:
        methods.setdefault(wait.submission, []).append(wait)
    ahead: Counter[Place] = Counter()
    found = []
    for number, mine in rows.items():
        samples, asked = sum(row.samples for row in mine), methods.get(number, [])
        paths = list(_paths(asked, samples, ahead, paces))
        found.append(
            Expected(
                submission=number,
                client=mine[0].client,
                samples=samples,
                at=tuple(station for station in Station if any(row.station == station for row in mine)),
                due_on=mine[0].due_on,
                forecast=_latest([forecast(path, today, worked) for path in paths]),
            )
        )
        ahead.update({(wait.station, wait.method): wait.samples for wait in asked if wait.station in _PATH})
        ahead[_LAST] += samples if {row.station for row in mine} == {Station.CERTIFICATES} else 0
    return found


def _paths(
    waits: Sequence[MethodWait], samples: int, ahead: Mapping[Place, int], paces: Mapping[Place, _Pace]
) -> Iterator[list[Stage]]:
    """The stations that a submission has still to pass, once for each method, certificates last.

    ahead: what stands at each place and is due before it. What stands at an earlier station will come through as well.
    """
    for code in sorted({wait.method for wait in waits}):
        path, own = [], 0
        for station in _PATH:
            own += sum(wait.samples for wait in waits if (wait.method, wait.station) == (code, station))
            if own:
                path.append(_stage((station, code), own, ahead, paces))
        yield [*path, _stage(_LAST, samples, ahead, paces)]


def _stage(place: Place, own: int, ahead: Mapping[Place, int], paces: Mapping[Place, _Pace]) -> Stage:
    (station, method), pace = place, paces.get(place, _Pace())
    return Stage(station.value, method, ahead.get(place, 0), own, pace.finished, pace.busy_days)


def _latest(forecasts: Sequence[Forecast]) -> Forecast:
    """What holds a submission up longest, with every stage of it that has no pace; nothing where nothing is asked."""
    unknown = dict.fromkeys(stage for one in forecasts for stage in one.unknown)
    known = [one for one in forecasts if one.finish is not None]
    last = max(known, key=lambda one: one.finish or date.min, default=Forecast(None, None, ()))
    return Forecast(last.finish, last.slowest, tuple(unknown))
