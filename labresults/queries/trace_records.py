"""Records that a number stands on, and the ties between them, as they are gathered.

Records are known by a key of kind and public number, "lot.L-2203", which stays the same from trace to trace.
"""

from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Any

from labresults.models import Person
from labresults.queries.trace_events import Subject, belonging
from labresults.queries.trace_pages import TracePage

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

    def __init__(self, page: TracePage) -> None:
        self.page, self.found = page, page.trace
        self.records: dict[str, Record] = {}
        self.ties: list[Tie] = []
        result, run = page.result, page.trace.evaluation.run
        self.key = f"result.{result.pk}"
        self.evaluated = f"evaluation.{run.number}.{page.trace.evaluation.version}"
        self.line = str(result.line).replace(" ", "-")
        self.curve_key = f"calibration.{page.trace.calibration.pk}" if page.trace.calibration else ""
        self.portion_key = f"portion.{result.position.portion_id}" if result.position.portion else ""

    def add(
        self, key: str, kind: RecordKind, what: str, name: object, *, page: Any = None, subject: Subject | None = None,
        at: datetime | None = None, **facts: Any,
    ) -> str:  # fmt: skip
        """A record, once; its key."""
        if key not in self.records:
            told = {name.replace("_", " "): written(value) for name, value in facts.items()}
            events = belonging(self.found.events, subject, at)
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
