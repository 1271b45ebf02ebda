"""The first page: what failed, what is late, what waits for whoever looks."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from labresults.queries.waiting import failed_checks, newest_evaluations, open_work, stops_soon
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


@for_clients
def today(request: HttpRequest) -> HttpResponse:
    """Today, for people of the laboratory; a client's people go to their own submissions."""
    if not is_staff(request):
        return redirect("my-submissions")
    day = timezone.localdate()
    work = open_work()
    evaluations = list(newest_evaluations())
    mine = [STATIONS_OF[role] for role in roles_of(request) if role in STATIONS_OF]
    waits = [row for row in work if row.station in mine]
    context = {
        "title": "Today",
        "here": "today",
        "day": day,
        "evaluations": evaluations,
        "failed": list(failed_checks(evaluations)),
        "drawing": draw(work, day),
        "mine": mine,
        "waits": [(row, row.days_late(day)) for row in waits],
        "late": [row for row in waits if row.days_late(day)],
        "stops": stops_soon(day),
    }
    return render(request, "labresults/today.html", context)
