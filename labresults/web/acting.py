"""One request, one act: what it answers when it was done, and when it was refused."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from labresults.acts import Refusal

MOST_PROBLEMS = 20


def attempt(request: HttpRequest, act: Callable[[], Any], said: str) -> Any:
    """Do an act and say so. A refusal becomes messages in words, and None is returned: nothing was changed.

    said: the sentence afterwards; `{}` in it stands for what the act returned.
    """
    try:
        value = act()
    except Refusal as refusal:
        messages.error(request, str(refusal))
        for problem in getattr(refusal, "problems", ())[:MOST_PROBLEMS]:
            messages.error(request, str(problem))
        return None
    messages.success(request, said.format(value))
    return value


def answer(
    request: HttpRequest, form: forms.Form, act: Callable[[dict[str, Any]], Any], said: str, to: str
) -> HttpResponse:
    """Do an act with what a form holds and go to the address `to`; say what is wrong with the form if it is."""
    if form.is_valid():
        attempt(request, lambda: act(form.cleaned_data), said)
    else:
        say_errors(request, form)
    return redirect(to)


def say_errors(request: HttpRequest, form: forms.Form) -> None:
    """Each error of a form as a message, with the label of its field."""
    for name, errors in form.errors.items():
        label = form.fields[name].label if name in form.fields else ""
        for error in errors:
            messages.error(request, f"{label}: {error}" if label else str(error))
