"""Runs are planned, and taken to the instrument as a list."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from labresults.queries import run_pages, run_planning
from labresults.queries.run_lists import run_list as as_csv
from labresults.terms import Station
from labresults.web.plan_desk import PlanDesk


def plan_run(request: HttpRequest) -> HttpResponse:
    """What is measured of a method, or measured again, in its order; without a method or a run, which method."""
    if not {"method", "again", "replaces"} & set(request.GET):
        choices = run_planning.choices(timezone.localdate())
        return render(request, "labresults/runs/choose.html", {"choices": choices, "here": Station.RUNS})
    desk = PlanDesk(request, timezone.localtime())
    earlier = desk.earlier()
    if earlier:
        messages.success(request, f"Run {earlier} is planned already, with this form. Nothing was planned again.")
        return redirect("run", earlier.number)
    planned = desk.do()
    if planned:
        return redirect("run", planned.number)
    page = "plan_list.html" if desk.is_part else "plan.html"
    return render(request, f"labresults/runs/{page}", {**desk.context(), "here": Station.RUNS})


def run_list(request: HttpRequest, number: str) -> HttpResponse:
    """The run list for the instrument, as CSV."""
    found = run_pages.find_run(number)
    response = HttpResponse(as_csv(found), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{found.number}-run-list.csv"'
    return response
