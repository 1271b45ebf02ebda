"""What the review of a request found, kind by kind, and what the person says to it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from labresults.actions.asking import AcceptedConcern
from labresults.queries.request_review import FoundConcern

MOST_ALONE = 50
"""Concerns of one kind that can be accepted one by one; more of them have one reason together."""


@dataclass(frozen=True)
class Said:
    """What stands in the fields of one concern, or of a kind of them."""

    reason_name: str
    reason: str
    tell_name: str
    tell: bool


@dataclass(frozen=True)
class OneConcern:
    """A concern with the fields of its own."""

    found: FoundConcern
    said: Said


@dataclass(frozen=True)
class Kind:
    """Concerns of one kind: the fields that hold for all of them, and each by itself."""

    what: str
    said: Said
    ones: tuple[OneConcern, ...]
    others: int

    @property
    def count(self) -> int:
        """How many concerns of the kind there are."""
        return len(self.ones) + self.others


def kinds_of(found: Sequence[FoundConcern], posted: Mapping[str, str]) -> list[Kind]:
    """The concerns by kind, in the order in which they were found, with what was typed."""
    by_kind: dict[str, list[FoundConcern]] = {}
    for concern in found:
        by_kind.setdefault(concern.what.value, []).append(concern)
    return [_kind(what, concerns, posted) for what, concerns in by_kind.items()]


def accepted(found: Sequence[FoundConcern], posted: Mapping[str, str]) -> list[AcceptedConcern]:
    """Every concern that has a reason: its own, else the one of its kind."""
    taken = []
    for concern in found:
        own, common = _said(concern.key, posted), _said(concern.what.value, posted)
        reason = own.reason or common.reason
        if reason:
            taken.append(AcceptedConcern(concern.key, reason, own.tell or common.tell))
    return taken


def has_reasons(posted: Mapping[str, str]) -> bool:
    """Whether anything was typed as a reason to accept a concern."""
    return any(name.startswith("reason ") and text.strip() for name, text in posted.items())


def _kind(what: str, concerns: Sequence[FoundConcern], posted: Mapping[str, str]) -> Kind:
    common = _said(what, posted)
    ones = tuple(OneConcern(concern, _said(concern.key, posted)) for concern in concerns[:MOST_ALONE])
    return Kind(what, common, ones, len(concerns) - len(ones))


def _said(key: str, posted: Mapping[str, str]) -> Said:
    reason, tell = f"reason {key}", f"tell {key}"
    return Said(reason, posted.get(reason, "").strip(), tell, tell in posted)
