"""Rules of plausibility and what was let go by name this year: the list of each, and a form for a rule."""

from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from labresults.actions.plausibility import register_plausibility
from labresults.queries.exceptions import KINDS, exceptions_of
from labresults.queries.plausibility import every_rule
from labresults.web.acting import attempt
from labresults.web.forms.plausibility import PlausibilityForm
from labresults.web.shared import acts_of


def plausibility(request: HttpRequest) -> HttpResponse:
    """What must fit together; a newer rule stands instead of the older one of its name, which stays."""
    form = PlausibilityForm(request.POST or None)
    if form.is_valid():
        do = partial(register_plausibility, by=request.user, at=timezone.now(), **form.arguments())
        if attempt(request, do, "“{0.name}” is asked from now on."):
            return redirect("plausibility")
    context = {"title": "Plausibility", "here": "methods", "rules": every_rule(), "form": form}
    return render(request, "labresults/plausibility.html", context | {"may": acts_of(request)})


def exceptions(request: HttpRequest) -> HttpResponse:
    """What was let go by name in a year (?year=), by person."""
    now = timezone.localdate().year
    asked = request.GET.get("year", "")
    year = int(asked) if asked.isascii() and asked.isdigit() and 2000 <= int(asked) <= now else now
    rows = exceptions_of(year)
    totals = [sum(row.counts[place] for row in rows) for place in range(len(KINDS))]
    context = {"title": f"Exceptions in {year}", "here": "audit", "rows": rows, "kinds": KINDS, "totals": totals}
    return render(request, "labresults/exceptions.html", context | {"year": year, "before": year - 1})
