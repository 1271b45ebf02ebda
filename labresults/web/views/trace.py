"""From a number back to everything that it stands on."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from labresults.queries.trace_pages import trace_page
from labresults.web.trace_drawings import trace_context


def trace(request: HttpRequest, pk: int) -> HttpResponse:
    """Why a result is what it is: where it came from, its arithmetic, and what else stands on the same things."""
    return render(request, "labresults/trace/trace.html", trace_context(trace_page(pk)))
