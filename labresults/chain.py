"""The audit chain: canonical text, its SHA-256, and the walk that finds what was changed. Pure.

Each event holds the SHA-256 of its own content and of the event before it (FIPS 180-4, Secure Hash Standard), so that
an event changed, removed, put elsewhere or slipped in shows at the first place where the chain no longer fits.
A cut tail does not show in the chain itself; its head is printed on each certificate for that reason.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

FIRST = "0" * 64
"""What stands for 'the event before' in the first event."""


@dataclass(frozen=True)
class Link:
    """One event as stored."""

    seq: int
    content: str  # canonical text
    previous: str  # SHA-256 of the event before, hex
    sha256: str  # of this one, hex


@dataclass(frozen=True)
class Break:
    """The first place where the chain does not hold."""

    seq: int
    what: str


def canonical(content: Mapping[str, Any]) -> str:
    """One text for one content: keys sorted, no spaces, characters as they are. Hashed as stored, never re-made.

    Raises ValueError on NaN or infinity, which have no text of their own in JSON (RFC 8259, section 6).
    """
    return json.dumps(content, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)


def digest(seq: int, content: str, previous: str) -> str:
    """Return the SHA-256 [hex] of an event: its number, the event before it and its content, each on a line."""
    return hashlib.sha256(f"{seq}\n{previous}\n{content}".encode()).hexdigest()


def digest_rows(rows: Iterable[Iterable[Any]]) -> str:
    """Return one SHA-256 [hex] over rows written in bulk, so that an event can hold a digest instead of a copy."""
    sha = hashlib.sha256()
    for row in rows:
        sha.update(repr(tuple(row)).encode())
        sha.update(b"\n")
    return sha.hexdigest()


def first_break(links: Iterable[Link]) -> Break | None:
    """Walk the chain in order of `seq` and return the first break, or None when it holds."""
    previous, expected = FIRST, 1
    for link in links:
        if link.seq > expected:
            return Break(expected, f"event {expected} is missing: the next one found is {link.seq}")
        if link.seq < expected:
            return Break(link.seq, f"event {link.seq} stands twice or was slipped in")
        if link.sha256 != digest(link.seq, link.content, link.previous):
            return Break(link.seq, f"event {link.seq} was changed: its content does not give its SHA-256")
        if link.previous != previous:
            return Break(link.seq, f"event {link.seq} does not follow event {link.seq - 1}: one of them was replaced")
        previous, expected = link.sha256, expected + 1
    return None
