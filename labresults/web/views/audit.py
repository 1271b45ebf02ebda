"""The audit trail: who did what to what, when and why."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from labresults.queries import history, lists, shelf
from labresults.templatetags.quantities import plain
from labresults.web.filters.people import AuditFilter
from labresults.web.shared import listing
from labresults.web.tables.people import AuditTable

_WALKED_AT_ONCE = 20_000  # a longer chain is walked when somebody asks for it: the page must not keep people waiting


def audit(request: HttpRequest) -> HttpResponse:
    """The chain, walked from the start as the page opens, and its events."""
    count, _ = history.head()
    walk = count <= _WALKED_AT_ONCE or "verify" in request.GET
    lead = _walked(count) if walk else f"{plain(count)} events."
    acts = [] if walk else [("Verify from the start", "?verify=now")]
    acts.append(("Exceptions this year", reverse("exceptions")))
    rows = lists.audit_events()
    return listing(request, AuditTable, AuditFilter, rows, title="Audit trail", lead=lead, here="audit", acts=acts)


def audit_event(request: HttpRequest, seq: int) -> HttpResponse:
    """One event, opened."""
    return render(request, "labresults/audit_event.html", {"opened": shelf.event(seq), "here": "audit"})


def _walked(count: int) -> str:
    broken = history.broken_link()
    if broken:
        return f"The chain is broken at event {plain(broken.seq)}: {broken.what}."
    return (
        f"The chain holds: {plain(count)} events, verified from the first as this page opened. "
        "An event altered or taken out would break it here, for all to see."
    )
