"""Records that a number stands on, and the ties between them, as they are gathered.

Records are known by a key of kind and public number, "lot.L-2203", which stays the same from trace to trace.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Any

from labresults.models import AuditEvent, Person
from labresults.queries.trace_events import Subject, belonging

Facts = dict[str, str | None]


class RecordKind(StrEnum):
    """What a record is: in the words of PROV an entity, an activity, or an agent."""

    THING = "thing"
    ACT = "act"
    PERSON = "person"
    PROGRAM = "program"


class TieKind(StrEnum):
    """How a record stands on another, in the order in which it is read: a result was made by an evaluation."""

    MADE_BY = "was made by"
    USED = "used"
    FROM = "comes from"
    OF = "is the work of"
    DONE_BY = "was done by"
    BY_PLAN = "followed"
    MEMBER = "holds"
    RELATED = "was preferred to"


@dataclass(frozen=True)
class Record:
    """One thing, act or person that a number stands on.

    what: a word for its kind; facts: by name, numbers as Python writes them (`repr`), so that nothing is lost; page:
    name and arguments of the page that shows it, and what follows them; events: numbers of its audit events.
    """

    key: str
    kind: RecordKind
    what: str
    name: str
    facts: Facts = field(default_factory=dict)
    page: tuple[str, tuple[str | int, ...], str] | None = None
    at: datetime | None = None
    events: tuple[int, ...] = ()


@dataclass(frozen=True)
class Tie:
    """How one record stands on another; `role` says in which part."""

    kind: TieKind
    of: str
    to: str
    role: str = ""


@dataclass(frozen=True)
class Graph:
    """Every record of a trace by its key, and the ties between them; the first record is what was asked about."""

    records: dict[str, Record]
    ties: tuple[Tie, ...]


def written(value: Any) -> str | None:
    """A fact as text: numbers as Python writes them, nothing where there is nothing."""
    if value is None:
        return None
    if isinstance(value, bool):
        return "yes" if value else "no"
    return repr(value) if isinstance(value, float) else str(value)


class Gathered:
    """The records and ties that were found so far."""

    def __init__(self, events: Sequence[AuditEvent]) -> None:
        self.events = events
        self.records: dict[str, Record] = {}
        self.ties: list[Tie] = []

    def graph(self) -> Graph:
        """Everything that was gathered, each tie once."""
        return Graph(self.records, tuple(dict.fromkeys(self.ties)))

    def add(
        self, key: str, kind: RecordKind, what: str, name: object, *, page: Any = None, subject: Subject | None = None,
        at: datetime | None = None, **facts: Any,
    ) -> str:  # fmt: skip
        """A record, once; its key."""
        if key not in self.records:
            told = {name.replace("_", " "): written(value) for name, value in facts.items()}
            events = belonging(self.events, subject, at)
            shown = (page[0], tuple(page[1:-1]), page[-1]) if page else None
            self.records[key] = Record(key, kind, what, str(name), told, shown, at, events)
        return key

    def tie(self, kind: TieKind, of: str, to: str, role: str = "") -> None:
        """A tie between two records; nothing where one of them is not there."""
        if of and to:
            self.ties.append(Tie(kind, of, to, role))

    def entity(self, key: str, what: str, name: object, **more: Any) -> str:
        """A thing."""
        return self.add(key, RecordKind.THING, what, name, **more)

    def act(self, key: str, what: str, name: object, who: Person | None, **more: Any) -> str:
        """Something that was done, with who did it."""
        self.add(key, RecordKind.ACT, what, name, **more)
        if who:
            self.tie(TieKind.DONE_BY, key, self.person(who))
        return key

    def person(self, who: Person) -> str:
        """A person, once; the key."""
        return self.add(f"person.{who.username}", RecordKind.PERSON, "person", who, page=("people", ""))

    def printed_number(self, line: Any, **facts: Any) -> tuple[str, str]:
        """A printed number with its certificate, the rules by which it is printed, and the issue; the first and last.

        line: of a certificate, with its certificate, and that certificate's rule set and who made it.
        """
        certificate, rules = line.certificate, line.certificate.rule_set
        page = ("certificate", certificate.number, certificate.issue, "")
        name = f"certificate.{certificate.number}.{certificate.issue}"
        subject = ("certificate", str(certificate))
        issued = self.act(
            f"issue.{certificate.number}.{certificate.issue}", "issue of a certificate", f"issue of {certificate}",
            certificate.made_by, page=page, subject=subject, at=certificate.made_at, reason=certificate.reason or None,
        )  # fmt: skip
        key = self.entity(
            f"line.{line.pk}", "printed number", f"{line.printed} {line.unit}", page=page, printed=line.printed,
            unit=line.unit, column=line.column, certificate=str(certificate), **facts,
        )  # fmt: skip
        self.entity(
            name, "certificate", certificate, page=page, subject=subject, at=certificate.made_at,
            document_sha256=certificate.document_sha256, chain_head=certificate.chain_head,
        )  # fmt: skip
        ruled = self.entity(
            f"rules.{rules.name}.{rules.version}", "reporting rules", rules, subject=("rule set", str(rules)),
            at=rules.made_at, page=page,
        )  # fmt: skip
        self.tie(TieKind.MADE_BY, key, issued)
        self.tie(TieKind.MADE_BY, name, issued)
        self.tie(TieKind.MEMBER, name, key)
        self.tie(TieKind.USED, issued, ruled, "reporting rules")
        self.tie(TieKind.OF, key, f"person.{certificate.made_by.username}")
        return key, issued
