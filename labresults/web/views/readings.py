"""Files of readings: looked at, then taken."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from labresults.queries import run_pages
from labresults.queries.run_imports import as_csv
from labresults.terms import Station
from labresults.web.reading_desk import ReadingDesk


def import_readings(request: HttpRequest, number: str) -> HttpResponse:
    """Files of readings: first what was understood of each, nothing stored; then all of a file, or nothing of it."""
    desk = ReadingDesk(request, run_pages.find_run(number), timezone.now())
    if desk.asked_of and desk.asked_of.seen:
        return _as_file(as_csv(desk.asked_of.seen.problems), f"{number}-problems.csv")
    desk.do()
    if desk.is_done:
        return redirect("run", number)
    return render(request, "labresults/readings/readings.html", desk.context() | {"here": Station.RUNS})


def _as_file(content: bytes, name: str) -> HttpResponse:
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return HttpResponse(content, content_type="text/csv; charset=utf-8", headers=headers)
