"""The box at the top of every page, and the scanner."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone

from labresults.queries import scanning
from labresults.queries.find import by_kind, cleaned, exactly, like
from labresults.web.found import address_of, as_listed, with_address
from labresults.web.shared import roles_of

AS_TYPED = 8
"""So many things are shown below the box while somebody types."""


def find(request: HttpRequest) -> HttpResponse:
    """Go to the thing of this number; without one, list what holds it, the kind of the best first."""
    asked = cleaned(request.GET.get("q", ""))
    there = exactly(asked)
    if there:
        return redirect(address_of(there))
    found = by_kind(like(asked))
    return render(request, "labresults/find.html", {"title": "Find", "asked": asked, "kinds": as_listed(found)})


def as_typed(request: HttpRequest) -> HttpResponse:
    """The best of what holds what stands in the box, while somebody types."""
    asked = cleaned(request.GET.get("q", ""))
    found = with_address(like(asked)[:AS_TYPED]) if len(asked) > 1 else []
    return HttpResponse(render_to_string("labresults/as_typed.html", {"asked": asked, "found": found}))


def scan(request: HttpRequest) -> HttpResponse:
    """Open what was scanned at the station where the person works; an unknown code is looked for in words."""
    code = cleaned(request.GET.get("code", ""))
    thing = scanning.opened_by(code, roles_of(request), timezone.localdate())
    if thing:
        return redirect(address_of(thing))
    messages.warning(request, f"“{code}” was scanned: nothing here has this number. Below is what holds it, if any.")
    return redirect(reverse("find", query={"q": code}))
