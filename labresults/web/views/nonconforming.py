"""Nonconforming work: the cases, one case, and what is done about it."""

from functools import partial
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from labresults.actions.nonconforming import open_nonconforming_work, record_nonconforming_step
from labresults.queries.forward_pages import case_page
from labresults.queries.nonconforming import case, works
from labresults.terms import NonconformingAct
from labresults.web.acting import attempt, say_errors
from labresults.web.filters.nonconforming import CaseFilter
from labresults.web.forms.nonconforming import ClosingForm, OpenForm, StepForm, days_of, form_of_step
from labresults.web.shared import acts_of, listing
from labresults.web.tables.nonconforming import CaseTable


def cases(request: HttpRequest) -> HttpResponse:
    """Every case, the newest first."""
    acts = [("What did this touch?", reverse("forward"))]
    lead = "A case begins with what was touched: ask that first, then open it there."
    return listing(
        request, CaseTable, CaseFilter, works(), title="Nonconforming work", lead=lead, here="nonconforming", acts=acts
    )


def case_of(request: HttpRequest, number: str) -> HttpResponse:
    """One case: what was wrong, what was touched, who has it, what was done."""
    page = case_page(number, request.GET.get("page", ""))
    context = {
        "case": page.case,
        "page": page,
        "query": urlencode(days_of(page.doubt)),
        "may": "record_nonconforming_step" in acts_of(request) and not page.case.closed,
        "may_tell": "notify_client" in acts_of(request) and not page.case.closed,
        "step": StepForm(),
        "closing": ClosingForm(),
        "here": "nonconforming",
    }
    return render(request, "labresults/nonconforming_case.html", context)


@require_POST
def open_case(request: HttpRequest) -> HttpResponse:
    """Open a case of what was looked at."""
    form = OpenForm(request.POST)
    if not form.is_valid():
        say_errors(request, form)
        return redirect(f"{reverse('forward')}?{request.POST.get('query', '')}")
    given = {name: form.cleaned_data[name] for name in ("what", "effect", "hold", "seen")}
    done = partial(open_nonconforming_work, by=request.user, at=timezone.now(), doubt=form.doubt())
    work = attempt(request, partial(done, **given), "{} is opened.")
    if work is None:
        return redirect(f"{reverse('forward')}?{request.POST.get('query', '')}")
    return redirect("nonconforming-case", work.number)


@require_POST
def record_step(request: HttpRequest, number: str) -> HttpResponse:
    """Record what was done; hold, release or close."""
    form = form_of_step(request.POST)
    if not form.is_valid():
        say_errors(request, form)
        return redirect("nonconforming-case", number)
    step, work = NonconformingAct(form.cleaned_data["step"]), case(number).work
    done = partial(record_nonconforming_step, by=request.user, at=timezone.now(), work=work, step=step)
    attempt(request, partial(done, text=form.cleaned_data["text"]), "Recorded.")
    return redirect("nonconforming-case", number)
