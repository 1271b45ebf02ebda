"""Custody: a box of samples that changed hands or place; what may be disposed of."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from labresults.actions.custody import record_custody
from labresults.acts import BadInput, WrongState
from labresults.queries import custody as held
from labresults.terms import Custody
from labresults.web.acting import MOST_PROBLEMS
from labresults.web.forms.custody import CustodyForm


def custody(request: HttpRequest) -> HttpResponse:
    """Samples scanned or pasted into a box, and what was done with all of them; nothing is half done."""
    initial = {
        "held_by": request.user.pk,
        "numbers": request.GET.get("samples", ""),
        "what": request.GET.get("what", Custody.MOVED.value),
    }
    form = CustodyForm(request.POST or None, people=held.people_here(), initial=initial)
    if request.method == "POST" and form.is_valid() and _recorded(request, form):
        return redirect("custody")
    context = {
        "title": "Custody",
        "here": "custody",
        "form": form,
        "kept_past": held.kept_past(timezone.localdate()),
        "day": timezone.localdate(),
    }
    return render(request, "labresults/custody.html", context)


def _recorded(request: HttpRequest, form: CustodyForm) -> bool:
    """Whether it was recorded; if not, the page says why and keeps what was typed."""
    samples, unknown = held.samples_named(form.names())
    for name in unknown[:MOST_PROBLEMS]:
        form.add_error("numbers", f"“{name}” is neither a sample nor a submission that has samples here.")
    if unknown:
        return False
    given: dict[str, Any] = form.arguments()
    try:
        count = record_custody(by=request.user, at=timezone.now(), samples=samples, **given)
    except (BadInput, WrongState) as refusal:
        form.add_error(None, str(refusal))
        for problem in getattr(refusal, "problems", ())[:MOST_PROBLEMS]:
            form.add_error("numbers", str(problem))
        return False
    things = "1 sample is" if count == 1 else f"{count} samples are"
    messages.success(request, f"{things} recorded: {given['what']}, {given['place']}, with {given['held_by']}.")
    return True
