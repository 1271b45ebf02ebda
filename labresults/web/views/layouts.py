"""Layouts of files of readings: which are saved, and how one is made on a person's own file."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode

from labresults.queries.layout_editor import layout_list, settings_said, versions_of
from labresults.web.filters.layouts import LayoutFilter
from labresults.web.layout_desk import LayoutDesk
from labresults.web.shared import listing
from labresults.web.tables.layouts import LayoutTable


def layouts(request: HttpRequest) -> HttpResponse:
    """Every layout of readings."""
    acts = [("Make a layout", reverse("new-layout"))]
    lead = "A layout says which column of a file means what. It is made on one of your own files."
    rows = layout_list()
    return listing(request, LayoutTable, LayoutFilter, rows, title="Layouts", lead=lead, here="methods", acts=acts)


def new(request: HttpRequest) -> HttpResponse:
    """A new layout, made on a file."""
    return _edited(request, None)


def layout(request: HttpRequest, name: str) -> HttpResponse:
    """A saved layout in the version that is asked for (?version=), beside its others; and the next one, on a file."""
    versions = versions_of(name)
    if request.method == "POST" or request.GET.get("kept"):
        return _edited(request, versions[0])
    asked = request.GET.get("version", "")
    shown = next((version for version in versions if str(version.version) == asked), versions[0])
    context = {
        "layout": shown,
        "versions": versions,
        "is_newest": shown == versions[0],
        "settings": settings_said(shown),
        "here": "methods",
    }
    return render(request, "labresults/layouts/layout.html", context)


def _edited(request: HttpRequest, of: Any) -> HttpResponse:
    desk = LayoutDesk(request, of, timezone.now())
    saved = desk.saved() if request.POST.get("do") == "save" else None
    if saved is not None:
        kept = {"file": desk.sha256, "name": desk.filename, "run": desk.run}
        return redirect(reverse("layout", args=[saved.name]) + "?" + urlencode({k: v for k, v in kept.items() if v}))
    is_part = request.headers.get("HX-Request") == "true"
    template = "labresults/layouts/editor.html" if is_part else "labresults/layouts/edit.html"
    return render(request, template, desk.context() | {"here": "methods"})
