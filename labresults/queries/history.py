"""The audit trail, read. Each function says how many database queries it makes."""

import json
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from labresults.chain import Break, Link, first_break
from labresults.models import AuditEvent

_LABELS = ("at", "person_id", "act", "subject_kind", "subject")


@dataclass(frozen=True)
class Told:
    """What one event says, read from the text that was hashed."""

    seq: int
    act: str
    at: datetime
    by: int  # key of the person
    subject: str
    why: str
    after: dict[str, Any]


def broken_link() -> Break | None:
    """Walk the whole chain and return its first break; one query, streamed.

    The columns by which an event is found are not hashed themselves: they are compared with the text that is.
    """
    mislabelled: list[Break] = []

    def links() -> Iterator[Link]:
        rows = AuditEvent.objects.order_by("seq").values_list("seq", "content", "previous", "sha256", *_LABELS)
        for seq, content, previous, sha256, *labels in rows.iterator(chunk_size=5_000):
            yield Link(seq, content, previous, sha256)
            if labels != _labels_of(content):
                mislabelled.append(Break(seq, f"event {seq} is filed under what its text does not say"))
                return

    return first_break(links()) or (mislabelled[0] if mislabelled else None)


def _labels_of(content: str) -> list[Any]:
    """The columns beside a text, as the pen writes them."""
    said = json.loads(content)
    kind, subject = said["subject"]
    return [datetime.fromisoformat(said["at"]).astimezone(UTC), said["by"]["id"], said["act"], kind, subject[:100]]


def told_of(acts: Collection[str]) -> Iterator[Told]:
    """What the events of some acts say, oldest first; one query, streamed."""
    rows = AuditEvent.objects.filter(act__in=acts).order_by("seq").values_list("seq", "content")
    for seq, content in rows.iterator(chunk_size=1_000):
        said = json.loads(content)
        at = datetime.fromisoformat(said["at"])
        yield Told(seq, said["act"], at, said["by"]["id"], said["subject"][1], said["why"], said["after"] or {})


def head() -> tuple[int, str]:
    """Number and SHA-256 of the newest event, (0, "") when there is none; one query."""
    newest = AuditEvent.objects.order_by("-seq").values_list("seq", "sha256").first()
    return newest or (0, "")
