"""What stands on the shelf: one method, one lot, one piece of equipment."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from labresults.queries import shelf
from labresults.queries.forward_pages import touched_by_lot
from labresults.queries.run_order import tray_of


def method(request: HttpRequest, code: str) -> HttpResponse:
    """A method in the version asked for (?version=), else the one in force, beside its other versions."""
    of = shelf.method(code)
    versions = shelf.method_versions(code)
    asked = request.GET.get("version", "")
    version = next((v for v in versions if str(v.version) == asked), shelf.in_force(versions, timezone.localdate()))
    context = {"method": of, "versions": versions, "version": version, "here": "methods"}
    if version is not None:
        standards, controls = shelf.planned_of(version)
        context |= {
            "lines": shelf.lines_of(version),
            "determinations": shelf.determinations_of(version),
            "criteria": shelf.criteria_of(version),
            "standards": standards,
            "controls": controls,
        }
    return render(request, "labresults/method.html", context)


def lot(request: HttpRequest, number: str) -> HttpResponse:
    """A lot, what it holds, and in short what it touched."""
    row = shelf.lot(number)
    context = {"lot": row, "touched": touched_by_lot(row.number), "day": timezone.localdate(), "here": "lots"}
    return render(request, "labresults/lot.html", context)


def equipment_item(request: HttpRequest, code: str) -> HttpResponse:
    """A piece of equipment, its checks, and what was done with it."""
    item = shelf.equipment(code)
    runs, batches = shelf.used_in(item)
    context = {
        "item": item,
        "checks": shelf.checks_of(item),
        "runs": runs,
        "batches": batches,
        "tray": tray_of(item),
        "day": timezone.localdate(),
        "here": "equipment",
    }
    return render(request, "labresults/equipment_item.html", context)
