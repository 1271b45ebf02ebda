"""One's own second factor: turned on with a code that the device shows, turned off with the password and a reason."""

from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.cache import patch_cache_control
from django.views.decorators.http import require_POST

from labresults.actions.second_factor import turn_off_second_factor, turn_on_second_factor
from labresults.queries.people import laboratory_shown
from labresults.queries.second_factor import address_of, new_secret, standing_factor
from labresults.web.acting import answer, attempt
from labresults.web.drawings import code_drawing
from labresults.web.forms.account import TurnOffForm, TurnOnForm
from labresults.web.shared import for_clients

_OFFERED = "second-factor-offered"


@for_clients
def second_factor(request: HttpRequest) -> HttpResponse:
    """What stands; where none is on, a new secret, shown until a code confirms it, and never again."""
    factor = standing_factor(request.user)
    context = {"factor": factor, "title": "Second factor", "here": "account"}
    if factor is not None:
        return render(request, "labresults/second_factor.html", context | {"form": TurnOffForm()})
    secret = request.session.setdefault(_OFFERED, new_secret())
    form = TurnOnForm(request.POST or None)
    if form.is_valid():
        done = partial(turn_on_second_factor, by=request.user, at=timezone.now(), secret=secret)
        if attempt(request, lambda: done(code=form.cleaned_data["code"]), "Your second factor is on."):
            del request.session[_OFFERED]
            return redirect("second-factor")
    drawing = code_drawing(address_of(secret, request.user, str(laboratory_shown() or "labresults")))
    in_fours = " ".join(secret[place : place + 4] for place in range(0, len(secret), 4))
    shown = context | {"form": form, "secret": in_fours, "drawing": drawing}
    response = render(request, "labresults/second_factor.html", shown)
    patch_cache_control(response, no_store=True)
    return response


@for_clients
@require_POST
def turn_off(request: HttpRequest) -> HttpResponse:
    """Turn one's own second factor off."""
    done = partial(turn_off_second_factor, by=request.user, at=timezone.now())
    form = TurnOffForm(request.POST)
    return answer(request, form, lambda given: done(**given), "Your second factor is off.", "second-factor")
