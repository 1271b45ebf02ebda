"""The pen: the one place that writes audit events. Only `labresults.acts` may import it."""

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from labresults import chain
from labresults.models import AuditEvent, Person


def write(
    *,
    by: Person,
    at: datetime,
    act: str,
    subject: tuple[str, str],
    why: str,
    before: Mapping[str, Any] | None,
    after: Mapping[str, Any] | None,
) -> AuditEvent:
    """Append one event; the caller holds the writer's lock and an open transaction.

    Raises ValueError when `before` or `after` holds what has no canonical text.
    """
    head = AuditEvent.objects.order_by("-seq").values_list("seq", "sha256").first()
    seq, previous = (head[0] + 1, head[1]) if head else (1, chain.FIRST)
    content = chain.canonical(
        {
            "act": act,
            "at": at.astimezone(UTC).isoformat(),
            "by": {"id": by.pk, "name": str(by), "sign_in": by.username},
            "subject": list(subject),
            "why": why,
            "before": before,
            "after": after,
        }
    )
    return AuditEvent.objects.create(
        seq=seq,
        at=at,
        person=by,
        act=act,
        subject_kind=subject[0],
        subject=subject[1][:100],
        content=content,
        previous=previous,
        sha256=chain.digest(seq, content, previous),
    )
