"""From a printed number back, as a page; and every way back as a file: PDF, JSON, PROV."""

from django.core.exceptions import ObjectDoesNotExist
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from labresults.queries.trace_graph import graph_of
from labresults.queries.trace_json import trace_json
from labresults.queries.trace_prov import prov_json, prov_n
from labresults.web.trace_drawings import calibration_drawing, lineage_drawing, title_of, trace_context
from labresults.web.trace_stages import lineage_of
from reports.queries.printed_trace import PrintedTrace, line_of, printed_trace, result_trace
from reports.queries.trace_report import trace_pdf
from reports.web.views.paper import pdf

IN_A_ROW_ON_PAPER = 3


def printed(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """Why this is what stands in a place on a certificate (`of`: a sample or a set, `column`)."""
    place = (number, issue, request.GET.get("of", ""), request.GET.get("column", ""))
    try:
        found = printed_trace(*place)
    except ObjectDoesNotExist:
        line = line_of(*place)
        if line.derived_id:
            return redirect("derived-trace", line.pk)
        return redirect("sample", request.GET["of"])  # words that stand for no measurement
    return render(request, "labresults/trace/trace.html", trace_context(found.page) | {"printing": found.steps})


def trace_file(request: HttpRequest, pk: int, kind: str) -> HttpResponse:
    """The way back of a result as a file."""
    if kind not in _FILES:
        raise Http404(f"There is no such file as {kind}: ask for {', '.join(_FILES)}.")
    return _FILES[kind](request, result_trace(pk))


def _as_pdf(request: HttpRequest, found: PrintedTrace) -> HttpResponse:
    page = found.page
    lineage = lineage_drawing(page, lineage_of(page), IN_A_ROW_ON_PAPER)
    drawn = (title_of(page), str(lineage), str(calibration_drawing(page)))
    return pdf(trace_pdf(found, drawn, timezone.now(), str(request.user)), f"trace-{page.result.pk}.pdf")


def _as_json(_: HttpRequest, found: PrintedTrace) -> HttpResponse:
    return JsonResponse(trace_json(found.page, found.printing), json_dumps_params={"ensure_ascii": False, "indent": 1})


def _as_prov_json(_: HttpRequest, found: PrintedTrace) -> HttpResponse:
    return HttpResponse(prov_json(graph_of(found.page)), content_type="application/json")


def _as_prov_n(_: HttpRequest, found: PrintedTrace) -> HttpResponse:
    return HttpResponse(prov_n(graph_of(found.page)), content_type="text/provenance-notation; charset=utf-8")


_FILES = {"pdf": _as_pdf, "json": _as_json, "prov.json": _as_prov_json, "provn": _as_prov_n}
