"""Clients told of nonconforming work: when the quality manager says so, and of which certificates."""

from functools import partial

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from labresults.queries.nonconforming import case
from labresults.terms import NoticeKind
from labresults.web.acting import attempt
from reports.queries import pages
from reports.queries.recipients import addressees
from reports.web.forms.nonconforming import TellForm
from reports.web.telling import tell_of_work


def tell_clients(request: HttpRequest, number: str) -> HttpResponse:
    """Who would be told of which certificates; and, when that is confirmed, told."""
    rows = pages.issues_named((request.POST or request.GET).getlist("certificate"))
    work = case(number).work
    form = TellForm(request.POST or None)
    if form.is_valid():
        done = partial(tell_of_work, rows, work, form.cleaned_data["reason"], request.user, timezone.now)
        troubles = attempt(request, done, "They were told, and it is recorded.")
        for trouble in troubles or ():
            messages.warning(request, trouble)
        return redirect("nonconforming-case", number)
    to = [(row, addressees(row, NoticeKind.NONCONFORMING)) for row in rows]
    context = {"work": work, "rows": to, "form": form, "here": "nonconforming"}
    return render(request, "reports/web/tell_clients.html", context)
