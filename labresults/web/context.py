"""What the frame of every page shows."""

from collections import Counter
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django.utils import timezone
from django.utils.functional import SimpleLazyObject

from labresults.queries.people import laboratory_shown
from labresults.queries.waiting import open_work
from labresults.terms import Station
from labresults.web.shared import acts_of, is_staff, roles_of


@dataclass(frozen=True)
class Stop:
    """One station in the ribbon."""

    station: str
    name: str
    url_name: str
    waiting: int
    late: int


_PAGES = {
    Station.RECEPTION: "reception",
    Station.PREPARATION: "preparation",
    Station.RUNS: "runs",
    Station.REVIEW: "reviews",
    Station.CERTIFICATES: "certificates",
}


def ribbon(request: HttpRequest) -> dict[str, Any]:
    """The five stations with what waits at each, who is here, and the laboratory; two queries, rarely six.

    `perms`: the acts that a page offers, by the person's roles; Django's own would ask twice more.
    """
    context: dict[str, Any] = {"laboratory": laboratory_shown()}
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return context
    offered = dict.fromkeys(acts_of(request), True)
    context |= {"roles": roles_of(request), "staff": is_staff(request), "perms": {"labresults": offered}}
    if context["staff"]:
        context["ribbon"] = SimpleLazyObject(_stops)  # a part of a page shows none
    return context


def _stops() -> list[Stop]:
    today = timezone.localdate()
    waiting: Counter[Station] = Counter()
    late: Counter[Station] = Counter()
    for row in open_work():
        waiting[row.station] += row.samples
        late[row.station] += row.samples if row.days_late(today) else 0
    return [
        Stop(station.value, station.value.capitalize(), page, waiting[station], late[station])
        for station, page in _PAGES.items()
    ]
