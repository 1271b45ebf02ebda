"""The audit trail: who did what to what, when and why."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from labresults.queries import history, lists, shelf
from labresults.web.filters.people import AuditFilter
from labresults.web.shared import listing
from labresults.web.tables.people import AuditTable


def audit(request: HttpRequest) -> HttpResponse:
    """The chain, walked from the start as the page opens, and its events."""
    broken = history.broken_link()
    seq, _ = history.head()
    lead = (
        f"The chain is broken at event {broken.seq}: {broken.what}."
        if broken
        else f"The chain holds: {seq} events, verified from the first as this page opened. "
        "An event altered or taken out would break it here, for all to see."
    )
    return listing(request, AuditTable, AuditFilter, lists.audit_events(), title="Audit trail", lead=lead, here="audit")


def audit_event(request: HttpRequest, seq: int) -> HttpResponse:
    """One event, opened."""
    return render(request, "labresults/audit_event.html", {"opened": shelf.event(seq), "here": "audit"})
