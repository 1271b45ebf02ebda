"""From a printed derived result back to the results that it was computed from."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from labresults.terms import Station
from reports.queries.derived_pages import printed_page
from reports.queries.printed_trace import line_of


def derived_printed(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """From a place on a certificate (`of`: a sample or a set, `column`) to the page of what is printed there."""
    place = (request.GET.get("of", ""), request.GET.get("column", ""))
    line = line_of(number, issue, *place, derived__isnull=False)
    return redirect("derived-trace", line.pk)


def derived_trace(request: HttpRequest, pk: int) -> HttpResponse:
    """The calculation of a printed derived result, done again from its inputs; each leads to its own trace."""
    page = printed_page(pk)
    title = f"{page.line.derived.reported_as} in {page.line.sample or page.line.sample_set}"
    return render(
        request, "reports/web/derived_trace.html", {"page": page, "title": title, "here": Station.CERTIFICATES}
    )
