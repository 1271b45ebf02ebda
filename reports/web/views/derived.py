"""From a printed derived result back to the results that it was computed from, as a page and as a file."""

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from labresults.queries.trace_prov import prov_json, prov_n
from reports.queries.derived_graph import graph_of_derived
from reports.queries.derived_json import derived_json
from reports.queries.derived_pages import PrintedPage, printed_page
from reports.queries.derived_report import derived_pdf
from reports.queries.printed_trace import line_of
from reports.web.derived_drawings import derived_context, derived_lineage, question, stages_of
from reports.web.views.paper import pdf

IN_A_ROW_ON_PAPER = 3


def derived_printed(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """From a place on a certificate (`of`: a sample or a set, `column`) to the page of what is printed there."""
    place = (request.GET.get("of", ""), request.GET.get("column", ""))
    line = line_of(number, issue, *place, derived__isnull=False)
    return redirect("derived-trace", line.pk)


def derived_trace(request: HttpRequest, pk: int) -> HttpResponse:
    """The calculation of a printed derived result, done again from its inputs; each leads to its own trace."""
    return render(request, "reports/web/derived_trace.html", derived_context(printed_page(pk)))


def derived_file(request: HttpRequest, pk: int, kind: str) -> HttpResponse:
    """The way back of a printed derived result as a file."""
    if kind not in _FILES:
        raise Http404(f"There is no such file as {kind}: ask for {', '.join(_FILES)}.")
    return _FILES[kind](request, printed_page(pk))


def _as_pdf(request: HttpRequest, page: PrintedPage) -> HttpResponse:
    lineage = derived_lineage(page, stages_of(page), IN_A_ROW_ON_PAPER)
    content = derived_pdf(page, (question(page), str(lineage)), timezone.now(), str(request.user))
    return pdf(content, f"trace-computed-{page.line.pk}.pdf")


def _as_json(_: HttpRequest, page: PrintedPage) -> HttpResponse:
    addresses = {each.result.pk: reverse("trace-file", args=[each.result.pk, "json"]) for each in page.inputs}
    return JsonResponse(derived_json(page, addresses), json_dumps_params={"ensure_ascii": False, "indent": 1})


def _as_prov_json(_: HttpRequest, page: PrintedPage) -> HttpResponse:
    return HttpResponse(prov_json(graph_of_derived(page)), content_type="application/json")


def _as_prov_n(_: HttpRequest, page: PrintedPage) -> HttpResponse:
    return HttpResponse(prov_n(graph_of_derived(page)), content_type="text/provenance-notation; charset=utf-8")


_FILES = {"pdf": _as_pdf, "json": _as_json, "prov.json": _as_prov_json, "provn": _as_prov_n}
