"""The first page: what failed, what is late, what waits for whoever looks."""

from datetime import date, datetime

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from labresults.queries.nonconforming import open_works
from labresults.queries.pace import outlook
from labresults.queries.today import acidified, failed_checks, holding_soon, newest_evaluations, stops_soon
from labresults.queries.waiting import open_work
from labresults.terms import Station
from labresults.web.path_drawing import draw
from labresults.web.shared import for_clients, is_staff, roles_of

STATIONS_OF = {
    "reception": Station.RECEPTION,
    "preparer": Station.PREPARATION,
    "analyst": Station.RUNS,
    "reviewer": Station.REVIEW,
    "issuer": Station.CERTIFICATES,
}


MOST_PRESSING = 12
"""So many submissions are shown with their pace; the others are counted."""


@for_clients
def today(request: HttpRequest) -> HttpResponse:
    """Today, for people of the laboratory; a client's people go to their own submissions."""
    if not is_staff(request):
        return redirect("my-submissions")
    day = timezone.localdate()
    evaluations = list(newest_evaluations())
    context = {
        "title": "Today",
        "here": "today",
        "day": day,
        "evaluations": evaluations,
        "failed": list(failed_checks(evaluations)),
        "stops": stops_soon(day),
        "cases": open_works(),
        **_at_stations([STATIONS_OF[role] for role in roles_of(request) if role in STATIONS_OF], day),
        **_ahead(day),
        **_clocks(timezone.now()),
    }
    return render(request, "labresults/today.html", context)


def _at_stations(mine: list[Station], day: date) -> dict[str, object]:
    """All that waits as a drawing, and what waits at the stations of whoever looks."""
    work = open_work()
    waits = [row for row in work if row.station in mine]
    return {
        "drawing": draw(work, day),
        "mine": mine,
        "waits": [(row, row.days_late(day)) for row in waits],
        "late": [row for row in waits if row.days_late(day)],
    }


def _ahead(day: date) -> dict[str, object]:
    """What is late, due, and late at the present pace."""
    ahead = outlook(day)
    return {
        "outlook": ahead,
        "pressing": [(row, row.days_late(day)) for row in ahead.pressing[:MOST_PRESSING]],
        "more": len(ahead.pressing[MOST_PRESSING:]),
        "slow": ahead.slow,
    }


def _clocks(now: datetime) -> dict[str, object]:
    """Holding times that end soon or have ended, and waters that may not begin yet."""
    holding = holding_soon(now)
    return {
        "holding": holding[:MOST_PRESSING],
        "more_holding": len(holding[MOST_PRESSING:]),
        "acidified": acidified(now),
    }
