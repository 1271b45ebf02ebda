"""What the first page shows beside the path: checks that failed, clocks that run, and what will stop work soon.

Each function says how many database queries it makes.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Count, Exists, Min, OuterRef, QuerySet, Subquery

from labresults.models import ControlOutcome, Equipment, EquipmentCheck, Evaluation, Lot, Sample
from labresults.queries.holding import End, Waits, holding_ends
from labresults.queries.people import laboratory_shown
from labresults.terms import Verdict

HOLDING_AHEAD = timedelta(days=2)
"""A holding time is shown from so long before its end (common practice, no source)."""


@dataclass(frozen=True)
class Stop:
    """Something on the shelf that will stop work soon, or does already."""

    kind: str
    number: str
    what: str
    verb: str
    on: date


@dataclass(frozen=True)
class HoldingSoon:
    """The samples of one submission that must be measured by a method soon, or should have been."""

    submission: str
    method: str
    samples: int
    passed: int  # samples whose time has passed
    ends: tuple[End, ...]  # of the elements that end first, all at one moment

    @property
    def ends_at(self) -> datetime:
        """The first end of all."""
        return self.ends[0].at


@dataclass(frozen=True)
class Acidified:
    """Waters acidified on arrival that may not begin yet, and from when the first of them may."""

    samples: int
    first_at: datetime


def holding_soon(now: datetime) -> list[HoldingSoon]:
    """What was not measured and whose holding time ends within two days or has passed; three queries at most."""
    together: dict[tuple[str, str], list[Waits]] = {}
    for wait in holding_ends(now + HOLDING_AHEAD):
        together.setdefault((wait.submission, wait.method), []).append(wait)
    return [
        HoldingSoon(
            submission=submission,
            method=method,
            samples=len(waits),
            passed=sum(wait.ends_at < now for wait in waits),
            ends=tuple(end for end in waits[0].ends if end.at == waits[0].ends_at),
        )
        for (submission, method), waits in together.items()
    ]


def acidified(now: datetime) -> Acidified | None:
    """The waters that wait since they were acidified here, None where there are none; one query, two in a minute."""
    laboratory = laboratory_shown()
    if laboratory is None:
        return None
    lock = timedelta(hours=laboratory.acidified_lock_h)
    found = Sample.objects.filter(acidified_at__gt=now - lock, struck_at=None).aggregate(
        samples=Count("pk"), first=Min("acidified_at")
    )
    return Acidified(found["samples"], found["first"] + lock) if found["samples"] else None


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
