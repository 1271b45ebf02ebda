"""One's own second factor: turned on with a code that the device shows, turned off with the password and a reason."""

from functools import partial
from typing import Any

from django.contrib.auth import update_session_auth_hash
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from labresults.actions.second_factor import make_recovery_codes, turn_off_second_factor, turn_on_second_factor
from labresults.queries.people import laboratory_shown
from labresults.queries.second_factor import address_of, codes_left, new_secret, standing_factor
from labresults.web.acting import attempt, say_errors
from labresults.web.drawings import code_drawing
from labresults.web.forms.account import PasswordForm, TurnOffForm, TurnOnForm
from labresults.web.shared import for_clients

_OFFERED = "second-factor-offered"
_ON = "Your second factor is on. Whoever else was signed in with your name is not any more."


@for_clients
@never_cache
def second_factor(request: HttpRequest) -> HttpResponse:
    """What stands; where none is on, a new secret, shown until a code confirms it, and never again."""
    factor = standing_factor(request.user)
    if factor is not None:
        return _page(request, factor)
    secret = request.session.setdefault(_OFFERED, new_secret())
    form = TurnOnForm(request.POST or None)
    if form.is_valid():
        done = partial(turn_on_second_factor, by=request.user, at=timezone.now(), secret=secret)
        if turned_on := attempt(request, lambda: done(code=form.cleaned_data["code"]), _ON):
            del request.session[_OFFERED]
            update_session_auth_hash(request, request.user)
            return _page(request, turned_on.factor, codes=turned_on.codes)
    drawing = code_drawing(address_of(secret, request.user, str(laboratory_shown() or "labresults")))
    in_fours = " ".join(secret[place : place + 4] for place in range(0, len(secret), 4))
    return _page(request, None, form=form, secret=in_fours, drawing=drawing)


@for_clients
@never_cache
@require_POST
def recovery_codes(request: HttpRequest) -> HttpResponse:
    """Recovery codes made anew, shown this once."""
    form = PasswordForm(request.POST)
    if not form.is_valid():
        say_errors(request, form)
        return redirect("second-factor")
    done = partial(make_recovery_codes, by=request.user, at=timezone.now(), **form.cleaned_data)
    codes = attempt(request, done, "These recovery codes are taken from now on, and those from before no more.")
    return _page(request, standing_factor(request.user), codes=codes) if codes else redirect("second-factor")


@for_clients
@require_POST
def turn_off(request: HttpRequest) -> HttpResponse:
    """Turn one's own second factor off."""
    form = TurnOffForm(request.POST)
    if not form.is_valid():
        say_errors(request, form)
        return redirect("second-factor")
    done = partial(turn_off_second_factor, by=request.user, at=timezone.now(), **form.cleaned_data)
    if attempt(request, done, "Your second factor is off."):
        update_session_auth_hash(request, request.user)
    return redirect("second-factor")


def _page(request: HttpRequest, factor: Any, **shown: Any) -> HttpResponse:
    context = {"factor": factor, "title": "Your second factor", "here": "account"}
    if factor is not None:
        context |= {"form": TurnOffForm(), "again": PasswordForm(auto_id="again_%s"), "left": codes_left(factor)}
    return render(request, "labresults/second_factor.html", context | shown)
