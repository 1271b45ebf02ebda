"""Corrections of what was logged: a sample added later, and what is put right of one that is there."""

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from labresults.actions.asking import AcceptedConcern
from labresults.actions.corrections import add_sample, correct_identification, move_sample, strike_sample
from labresults.acts import BadInput, WrongState
from labresults.queries import samples
from labresults.queries.delivery import delivered
from labresults.queries.issued import certificates_carrying
from labresults.queries.request_review import FoundConcern, review
from labresults.web.forms.corrections import AddSampleForm, IdentificationForm, MoveForm, StrikeForm


def add(request: HttpRequest, number: str) -> HttpResponse:
    """Log a sample that came later than its submission, after a look at what its request asks."""
    delivery = samples.submission(number)
    wanted = samples.versions_of(delivery)[0]
    form = AddSampleForm(request.POST or None)
    found: tuple[FoundConcern, ...] = ()
    if request.method == "POST" and form.is_valid():
        row = delivered([form.row()])[0]
        found = review([row], methods=[m.method for m in wanted.for_all], at=timezone.now())
        done = partial(add_sample, submission=delivery, row=row, place=form.cleaned_data["place"])
        accepted = _accepted(form, found)
        added = accepted is not None and _tried(form, partial(done, concerns=accepted, **_who(request, form)))
        if added:
            messages.success(request, f"{added} is added to {delivery}. Print its label.")
            return redirect("submission", number)
    context = {"submission": delivery, "wanted": wanted, "form": form, "found": found, "here": "submissions"}
    return render(request, "labresults/add_sample.html", context)


def correct(request: HttpRequest, number: str) -> HttpResponse:
    """Put right what was logged of one sample: its identification, its submission, or that it is there at all."""
    item = samples.sample(number)
    forms_of = _forms(request, item)
    done = forms_of.get(request.POST.get("act", ""))
    if request.method == "POST" and done and done.is_valid():
        kind = request.POST["act"]
        changed = _tried(done, partial(_ACTS[kind], item, done.cleaned_data, **_who(request, done)))
        if changed:
            messages.success(request, _SAID[kind].format(changed))
            return redirect("sample", number)
    context = {
        "sample": item,
        "forms": forms_of,
        "prepared": samples.prepared_of(item),
        "carried": certificates_carrying(item),
        "others": samples.others_of_client(item),
        "corrections": samples.corrections_of(item),
        "here": "samples",
    }
    return render(request, "labresults/correct_sample.html", context)


def _identification(item: Any, given: Mapping[str, str], **who: Any) -> Any:
    return correct_identification(sample=item, to=given["to"], seen=given["seen"], **who)


def _move(item: Any, given: Mapping[str, str], **who: Any) -> Any:
    to = samples.submission_if_there(given["to"].strip())
    if to is None:
        raise BadInput(f"There is no submission “{given['to']}”. Type its number as it stands on its page.")
    return move_sample(sample=item, to=to, seen=given["seen"], **who)


def _strike(item: Any, given: Mapping[str, str], **who: Any) -> Any:
    return strike_sample(sample=item, **who)


_ACTS = {"identification": _identification, "move": _move, "strike": _strike}
_SAID = {
    "identification": "{}: the client’s own identification is corrected. Print its label again.",
    "move": "{} is moved. What is asked of it went along.",
    "strike": "{} is struck. Its record stays.",
}


def _forms(request: HttpRequest, item: Any) -> dict[str, forms.Form]:
    """The three forms; only the one that was sent holds what was typed."""
    sent = request.POST.get("act", "") if request.method == "POST" else ""
    initial = {"to": item.client_identification, "seen": item.client_identification}

    def bound(kind: str, form: type[forms.Form], **initial: str) -> forms.Form:
        return form(request.POST if sent == kind else None, initial=initial, auto_id=f"{kind}-%s")

    return {
        "identification": bound("identification", IdentificationForm, **initial),
        "move": bound("move", MoveForm, seen=item.submission.number),
        "strike": bound("strike", StrikeForm),
    }


def _who(request: HttpRequest, form: forms.Form) -> dict[str, Any]:
    return {"by": request.user, "at": timezone.now(), "reason": form.cleaned_data["reason"]}


def _tried(form: forms.Form, act: Callable[[], Any]) -> Any:
    """What the act returns; None when it refused, and the form then says why and keeps what was typed."""
    try:
        return act()
    except (BadInput, WrongState) as refusal:
        form.add_error(None, str(refusal))
        for problem in getattr(refusal, "problems", ()):
            form.add_error(None, str(problem))
        return None


def _accepted(form: AddSampleForm, found: tuple[FoundConcern, ...]) -> list[AcceptedConcern] | None:
    """One reason for all that was found; None, said at its field, where there is none."""
    given = form.cleaned_data
    if found and not given["accept"]:
        form.add_error("accept", "Give the reason, or mend it below.")
        return None
    return [AcceptedConcern(concern.key, given["accept"], given["tell_client"]) for concern in found]
