"""Holding times: the list, and a form for those who may enter one."""

from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from labresults.actions.holding import register_holding_time
from labresults.queries.holding import entries
from labresults.web.acting import attempt
from labresults.web.forms.holding import HoldingTimeForm


def holding_times(request: HttpRequest) -> HttpResponse:
    """How long samples may wait; a newer row stands instead of the older one, which stays."""
    form = HoldingTimeForm(request.POST or None)
    if form.is_valid():
        do = partial(register_holding_time, by=request.user, at=timezone.now(), **form.arguments())
        if attempt(request, do, "{0.matrix}: the holding time stands from now on."):
            return redirect("holding-times")
    context = {"title": "Holding times", "here": "methods", "entries": entries(), "form": form}
    return render(request, "labresults/holding_times.html", context)
