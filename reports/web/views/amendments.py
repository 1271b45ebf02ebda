"""A certificate that was wrong: amended or withdrawn in the open, one or many, and its client told."""

from functools import partial

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.utils import timezone
from django.views.decorators.http import require_POST

from labresults.terms import NoticeKind, Station
from labresults.web.acting import attempt, say_errors
from reports.actions import certificates as acts
from reports.issuing import amend_many as amend_each
from reports.issuing import draw_soon, tell, tell_again
from reports.queries import pages
from reports.queries.amendments import amendment
from reports.web.forms.certificates import AmendForm, AmendManyForm, RulesForm, WithdrawForm
from reports.web.keeping import attempt_to_keep


def amend(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """By which rules and why a certificate is issued anew; what would change is loaded beside it."""
    row = pages.certificate(number, issue)
    if request.method == "POST":
        return _amend(request, row)
    form = AmendForm(initial={"rule_set": row.rule_set_id, "preliminary": False})
    context = {"certificate": row, "form": form, "here": Station.CERTIFICATES}
    return render(request, "reports/web/amend.html", context)


def changes(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """The part of that page that says what would change, each with the reason that the record knows."""
    row = pages.certificate(number, issue)
    chosen = RulesForm(request.GET)
    rules = chosen.cleaned_data["rule_set"] if chosen.is_valid() else row.rule_set
    preliminary = chosen.is_valid() and chosen.cleaned_data["preliminary"]
    change = amendment(row, rule_set=rules, preliminary=preliminary, by=request.user, at=timezone.now())
    context = {"certificate": row, "amendment": change, "is_first": "first" in request.GET}
    return HttpResponse(render_to_string("reports/web/amend_changes.html", context))  # a part: no ribbon is asked for


def _amend(request: HttpRequest, row: pages.Certificate) -> HttpResponse:
    form = AmendForm(request.POST)
    if not form.is_valid():
        say_errors(request, form)
        return redirect("amend-certificate", row.number, row.issue)
    if there := pages.issued_by(form.cleaned_data["form_key"]):
        return redirect("certificate", there.number, there.issue)
    done = partial(acts.amend_certificate, by=request.user, at=timezone.now(), certificate=row, reasons=form.reasons())
    new = attempt_to_keep(request, partial(done, **form.cleaned_data), "{} is issued.")
    if new is None:
        return redirect("amend-certificate", row.number, row.issue)
    draw_soon(new, request.user, timezone.now)
    return redirect("certificate", new.number, new.issue)


@require_POST
def withdraw(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """Take a certificate back, and tell its client."""
    form = WithdrawForm(request.POST)
    row = pages.certificate(number, issue)
    if not form.is_valid():
        say_errors(request, form)
        return redirect("certificate", number, issue)
    done = partial(acts.withdraw_certificate, by=request.user, at=timezone.now(), certificate=row)
    if attempt(request, partial(done, **form.cleaned_data), "It is withdrawn.") and pages.kinds_of_files(row):
        trouble = tell(row, request.user, timezone.now, NoticeKind.WITHDRAWN)
        if trouble:
            messages.warning(request, trouble)
    return redirect("certificate", number, issue)


@require_POST
def notify(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """Send the letters that did not go once more; tell of an issue of which nobody was told."""
    row = pages.certificate(number, issue)
    troubles = attempt(request, partial(tell_again, row, request.user, timezone.now), "Sent.")
    for trouble in troubles or ():
        messages.warning(request, trouble)
    return redirect("certificate", number, issue)


def amend_many(request: HttpRequest) -> HttpResponse:
    """Several issues amended for one reason: each is done, or refused in words, by itself."""
    rows = pages.issues_named((request.POST or request.GET).getlist("certificate"))
    form = AmendManyForm(request.POST or None)
    came = []
    if request.method == "POST" and form.is_valid():
        came = amend_each(rows, form.cleaned_data["reason"], request.user, timezone.now)
    context = {"rows": rows, "form": form, "came": came, "here": Station.CERTIFICATES}
    return render(request, "reports/web/amend_many.html", context)
