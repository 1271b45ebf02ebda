"""From a number back to everything that it stands on."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from labresults.queries.trace_pages import trace_page
from labresults.terms import Station
from labresults.web.trace_drawings import calibration_drawing, lineage_drawing, lineage_of, title_of


def trace(request: HttpRequest, pk: int) -> HttpResponse:
    """Why a result is what it is: where it came from, its arithmetic, and what else stands on the same things."""
    page = trace_page(pk)
    stages = lineage_of(page)
    context = {
        "page": page,
        "trace": page.trace,
        "result": page.result,
        "title": title_of(page),
        "stages": stages,
        "lineage": lineage_drawing(page, stages),
        "calibration": calibration_drawing(page),
        "events": page.events,
        "here": Station.CERTIFICATES if page.trace.printed else Station.REVIEW,
    }
    return render(request, "labresults/trace/trace.html", context)
