"""How often somebody may fail to show who they are: counted in the database, for all processes and through restarts.

A try is counted before it is looked at, and given back where it was right, so that many at once get no more tries than
one after the other. This is no act: it must stand where an act is undone, and tells nothing of the laboratory's work.
Names and addresses are kept as digests, and for a day.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from math import ceil

from django.db import transaction
from django.utils import timezone

from labresults.acts import NotAuthorised
from labresults.models import Attempt

WINDOW = timedelta(minutes=15)
"""Failures within so long count together (common practice, no source)."""
WAIT = timedelta(minutes=15)
"""So long nothing is taken after the last failure that was allowed (common practice, no source)."""
KEPT = timedelta(days=1)
MOST_SWEPT = 200


@dataclass(frozen=True)
class Limit:
    """What is counted, and how many failures are allowed. is_shared: others count there too, and stay counted."""

    key: str
    most: int
    is_shared: bool = False


@dataclass(frozen=True)
class Tries:
    """How many tries are left if this one was wrong; where none is, until when nothing is taken."""

    left: int
    until: datetime | None


class TooMany(NotAuthorised):
    """There were too many failures; `until` says when another try is taken."""

    def __init__(self, until: datetime, at: datetime) -> None:
        self.until = until
        self.when = when(until, at)
        super().__init__(f"Too many attempts. Try again at {self.when}.")


def when(until: datetime, at: datetime) -> str:
    """In words, on the clock of the site, when another try is taken; no query."""
    minutes = max(1, ceil((until - at) / timedelta(minutes=1)))
    return f"{timezone.localtime(until):%H:%M}, in {minutes} minute{'' if minutes == 1 else 's'}"


def limit(kind: str, who: object, most: int, is_shared: bool = False) -> Limit:
    """A limit of one kind for somebody, or for a place: the database holds a digest of who it is; no query."""
    return Limit(f"{kind} {sha256(str(who).encode()).hexdigest()[:40]}", most, is_shared)


def count_try(limits: Sequence[Limit], at: datetime) -> Tries:
    """Count a try before it is looked at. Raises TooMany, with nothing counted, where one of the limits is reached.

    At most three queries a limit, and two more.
    """
    _sweep(at)
    with transaction.atomic(durable=True):
        counted = [_count(one, at) for one in sorted(limits, key=lambda one: one.key)]
    return min(counted, key=lambda tries: tries.left)


def give_try_back(limits: Sequence[Limit]) -> None:
    """Take back a try that was no failure; three queries a limit."""
    with transaction.atomic(durable=True):
        for one in sorted(limits, key=lambda one: one.key):
            row = Attempt.objects.select_for_update().filter(key=one.key).first()
            if row is not None:
                row.failures, row.stopped_until = max(0, row.failures - 1), None
                row.save()


def forget_tries(limits: Sequence[Limit]) -> None:
    """Somebody showed who they are: their failures are forgotten; one query, and three for each shared limit."""
    Attempt.objects.filter(key__in=[one.key for one in limits if not one.is_shared]).delete()
    give_try_back([one for one in limits if one.is_shared])


def _count(one: Limit, at: datetime) -> Tries:
    Attempt.objects.get_or_create(key=one.key, defaults={"failures": 0, "since": at})
    row = Attempt.objects.select_for_update().get(key=one.key)
    if row.stopped_until is not None and at < row.stopped_until:
        raise TooMany(row.stopped_until, at)
    if row.stopped_until is not None or at - row.since >= WINDOW:
        row.failures, row.since = 0, at
    row.failures += 1
    row.stopped_until = at + WAIT if row.failures >= one.most else None
    row.save()
    return Tries(one.most - row.failures, row.stopped_until)


def _sweep(at: datetime) -> None:
    """Old rows go away by themselves, a few at a time; whoever holds one keeps it."""
    with transaction.atomic(durable=True):
        old = Attempt.objects.filter(since__lt=at - KEPT).select_for_update(skip_locked=True)
        Attempt.objects.filter(pk__in=[row.pk for row in old[:MOST_SWEPT]]).delete()
