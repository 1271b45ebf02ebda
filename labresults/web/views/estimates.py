"""What the laboratory's own values say of a method: limits, interferences, precision; and its next version of them."""

from functools import partial
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from labresults.actions.estimates import determine_interferences, estimate_limit
from labresults.actions.revisions import revise_method_version
from labresults.queries import estimates, precision, shelf
from labresults.web.acting import answer, attempt
from labresults.web.forms.estimates import LimitForm, TakeInterferencesForm, TakeLimitsForm, TakePrecisionForm


def method_limits(request: HttpRequest, code: str) -> HttpResponse:
    """The limits of each line beside what was estimated; ?line= chooses one to estimate."""
    version = shelf.newest_version(code)
    lines = shelf.lines_of(version)
    line = next((row.line for row in lines if str(row.line) == request.GET.get("line", "")), None)
    form = _limit_form(request, version, line) if line else None
    if form and form.is_valid():
        do = partial(estimate_limit, by=request.user, at=timezone.now(), version=version, line=line, **form.arguments())
        if attempt(request, do, "Estimated. Nothing of the method changed by it."):
            return redirect("method-limits", code)
    known = estimates.limit_estimates(version)
    context = {
        "method": version.method,
        "version": version,
        "rows": [(row, [each for each in known if each.line_id == row.line_id]) for row in lines],
        "line": line,
        "form": form,
        "take_up": TakeLimitsForm(lines=lines, estimates=known, today=timezone.localdate()) if known else None,
        "here": "methods",
    }
    return render(request, "labresults/method_limits.html", context)


def _limit_form(request: HttpRequest, version: Any, line: Any) -> LimitForm:
    return LimitForm(
        request.POST or None,
        blanks=estimates.found_values(version, line.pk, estimates.BLANKS),
        spiked=estimates.found_values(version, line.pk, estimates.LOW),
        curves=estimates.calibrations_of(version, line.pk),
        unit=version.solution_unit,
    )


@require_POST
def take_up_limits(request: HttpRequest, code: str) -> HttpResponse:
    """The next version of the method, with the limits that were chosen."""
    version = shelf.newest_version(code)
    form = TakeLimitsForm(
        request.POST,
        lines=shelf.lines_of(version),
        estimates=estimates.limit_estimates(version),
        today=timezone.localdate(),
    )
    return _revised(request, version, form, "method-limits")


def _revised(request: HttpRequest, version: Any, form: Any, page: str) -> HttpResponse:
    do = partial(revise_method_version, by=request.user, at=timezone.now(), version=version)
    to = reverse(page, args=[version.method.code])
    return answer(request, form, lambda _: do(**form.arguments()), "{0} is entered; the older version stays.", to)


def method_interferences(request: HttpRequest, code: str) -> HttpResponse:
    """What elements pretend at the lines of others, as single-element solutions showed it."""
    version = shelf.newest_version(code)
    found = estimates.coefficients_of(version, shelf.lines_of(version))
    context = {
        "method": version.method,
        "version": version,
        "found": found,
        "waiting": estimates.runs_with_checks(version),
        "take_up": TakeInterferencesForm(found=found, today=timezone.localdate()) if found else None,
        "here": "methods",
    }
    return render(request, "labresults/method_interferences.html", context)


@require_POST
def determine(request: HttpRequest, code: str) -> HttpResponse:
    """Determine the coefficients that an evaluated run shows."""
    version = shelf.newest_version(code)
    asked = request.POST.get("evaluation", "")
    evaluation = next((each for each in estimates.runs_with_checks(version) if str(each.pk) == asked), None)
    if evaluation:
        do = partial(determine_interferences, by=request.user, at=timezone.now(), evaluation=evaluation)
        attempt(request, do, "The coefficients are stored. Nothing of the method changed by it.")
    return redirect("method-interferences", code)


@require_POST
def take_up_interferences(request: HttpRequest, code: str) -> HttpResponse:
    """The next version of the method, with the coefficients that were chosen."""
    version = shelf.newest_version(code)
    found = estimates.coefficients_of(version, shelf.lines_of(version))
    form = TakeInterferencesForm(request.POST, found=found, today=timezone.localdate())
    return _revised(request, version, form, "method-interferences")


def method_precision(request: HttpRequest, code: str) -> HttpResponse:
    """What duplicates and reference materials say of each line."""
    version = shelf.newest_version(code)
    found = precision.precision_of(version, shelf.lines_of(version))
    context = {
        "method": version.method,
        "version": version,
        "found": found,
        "take_up": TakePrecisionForm(found=found, today=timezone.localdate()),
        "here": "methods",
    }
    return render(request, "labresults/method_precision.html", context)


@require_POST
def take_up_precision(request: HttpRequest, code: str) -> HttpResponse:
    """The next version of the method, with the precision and bias that were chosen."""
    version = shelf.newest_version(code)
    found = precision.precision_of(version, shelf.lines_of(version))
    form = TakePrecisionForm(request.POST, found=found, today=timezone.localdate())
    return _revised(request, version, form, "method-precision")
