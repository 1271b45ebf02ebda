"""What a submission asks for is changed: looked at beside what stands, reviewed, then entered as a new version."""

from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from labresults.actions.requests import change_request
from labresults.queries import samples
from labresults.queries.request_change import asked_alone, compared, review_anew, standing, with_due_day
from labresults.web.acting import attempt
from labresults.web.forms.delivery_concerns import accepted, kinds_of
from labresults.web.forms.requests import ChangeForm


def change(request: HttpRequest, number: str) -> HttpResponse:
    """Ask for something else: nothing is changed before it was seen beside what stands, and agreed."""
    now, at = standing(samples.submission(number)), timezone.now()
    form = ChangeForm(request.POST or None, now=now, proposed=request.GET.dict())
    context = {"now": now, "form": form, "alone": asked_alone(now), "here": "submissions"}
    if form.is_valid():
        wanted = with_due_day(now, form.wanted(), at)
        found, kept = review_anew(now, wanted, at)
        context |= {"lines": compared(now, wanted), "kinds": kinds_of(found, request.POST), "kept": kept}
        if "change" in request.POST:
            given = {name: form.cleaned_data[name] for name in ("reason", "agreed_with", "seen_version")}
            do = partial(change_request, by=request.user, at=at, submission=now.submission, **vars(wanted), **given)
            said = f"{now.submission}: version {{0.version}} of the request stands, due {{0.due_on}}."
            if attempt(request, partial(do, concerns=accepted(found, request.POST)), said):
                return redirect("submission", number)
    return render(request, "labresults/change_request.html", context)
