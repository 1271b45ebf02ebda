"""An expired lot, or a balance that is overdue: allowed for one day, by name and with a reason."""

from functools import partial
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme

from labresults.actions.overrides import allow_override
from labresults.queries.overrides import stopped
from labresults.web.acting import attempt
from labresults.web.forms.preparation import OverrideForm


def override(request: HttpRequest) -> HttpResponse:
    """What stops an expired lot or overdue equipment, and how it is allowed today: ?of=, ?next= for the way back."""
    named = request.GET.get("of", "").strip()
    what = stopped(named, timezone.localdate()) if named else None
    form = OverrideForm(request.POST or None)
    may = request.user.has_perm("labresults.allow_override")
    back = _back(request)
    if request.method == "POST" and what and form.is_valid() and _allowed(request, what, form):
        return redirect(back)
    context = {"what": what, "named": named, "form": form, "may": may, "back": back, "here": "preparation"}
    return render(request, "labresults/override.html", context)


def _allowed(request: HttpRequest, what: Any, form: OverrideForm) -> bool:
    done = partial(
        allow_override,
        by=request.user,
        at=timezone.now(),
        reason=form.cleaned_data["reason"],
        kind=what.kind,
        lot=what.lot,
        equipment=what.equipment,
    )
    said = f"{what.named} is allowed for today, and its use is named on every record."
    return attempt(request, done, said) is not None


def _back(request: HttpRequest) -> str:
    """Where the person came from, where that is a page of this site."""
    to = request.GET.get("next", "")
    is_ours = url_has_allowed_host_and_scheme(to, allowed_hosts=None)
    return to if to and is_ours else "/preparation"
