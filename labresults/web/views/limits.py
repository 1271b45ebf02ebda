"""Limits that results are compared with, and the scope of accreditation of a method."""

from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from labresults.actions.limits import register_limits
from labresults.actions.scope import register_scope
from labresults.queries import limits as queries
from labresults.queries.scope import scope_rows
from labresults.queries.shelf import method as find_method
from labresults.web.acting import attempt
from labresults.web.forms.limits import LimitSetForm, ScopeForm


def limit_sets(request: HttpRequest) -> HttpResponse:
    """Every edition of every set of limits, and a form for the next one."""
    form = LimitSetForm(request.POST or None)
    if form.is_valid():
        do = partial(register_limits, by=request.user, at=timezone.now(), **form.arguments())
        if attempt(request, do, "{} can be compared with from now on."):
            return redirect("limit-sets")
    context = {"here": "methods", "rows": queries.limit_sets(), "form": form, "codes": queries.derived_units()}
    return render(request, "labresults/limits/sets.html", context)


def limit_set(request: HttpRequest, key: int) -> HttpResponse:
    """One edition of limits."""
    context = {"here": "methods", "set": queries.limit_set(key)}
    return render(request, "labresults/limits/set.html", context)


def scope(request: HttpRequest, code: str) -> HttpResponse:
    """What a method is accredited for, and a form for what is added."""
    method = find_method(code)
    form = ScopeForm(request.POST or None)
    if form.is_valid():
        do = partial(register_scope, by=request.user, at=timezone.now(), **form.arguments(method))
        if attempt(request, do, "The scope is entered."):
            return redirect("scope", code)
    context = {"here": "methods", "method": method, "rows": scope_rows(code), "form": form}
    return render(request, "labresults/limits/scope.html", context)
