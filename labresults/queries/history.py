"""The audit trail, read. Each function says how many database queries it makes."""

from labresults.chain import Break, Link, first_break
from labresults.models import AuditEvent


def broken_link() -> Break | None:
    """Walk the whole chain and return its first break; one query, streamed."""
    rows = AuditEvent.objects.order_by("seq").values_list("seq", "content", "previous", "sha256")
    return first_break(Link(*row) for row in rows.iterator(chunk_size=5_000))


def head() -> tuple[int, str]:
    """Number and SHA-256 of the newest event, (0, "") when there is none; one query."""
    newest = AuditEvent.objects.order_by("-seq").values_list("seq", "sha256").first()
    return newest or (0, "")
