"""A trace in W3C PROV (PROV-DM, W3C Recommendation of 30 April 2013): entities, activities, agents and their relations.

Things become entities, what was done activities, people and the program agents; the relations are those of PROV-DM
(2013), 5.1 to 5.3 and 5.6. Identifiers are our keys in a namespace of our own, other signs than letters, digits, point,
hyphen and underline written as %XX.
"""

from datetime import UTC
from typing import Any
from urllib.parse import quote

from prov.model import PROV, PROV_LABEL, PROV_ROLE, PROV_TYPE, ProvDocument

from labresults.queries.trace_records import Graph, Record, RecordKind, TieKind

NAMESPACE = "urn:labresults:trace:"
PREFIX = "lab"


def trace_prov(graph: Graph) -> ProvDocument:
    """The PROV document of a trace: every record of it, and every tie that PROV has a relation for; no query."""
    document = ProvDocument()
    document.add_namespace(PREFIX, NAMESPACE)
    for record in graph.records.values():
        _declare(document, record)
    plans = {tie.of: identifier(tie.to) for tie in graph.ties if tie.kind is TieKind.BY_PLAN}
    for tie in graph.ties:
        of, to = identifier(tie.of), identifier(tie.to)
        role = {PROV_ROLE: tie.role} if tie.role else None
        match tie.kind:
            case TieKind.MADE_BY:
                document.wasGeneratedBy(of, to, other_attributes=role)
            case TieKind.USED:
                document.used(of, to, other_attributes=role)
            case TieKind.FROM:
                document.wasDerivedFrom(of, to)
            case TieKind.OF:
                document.wasAttributedTo(of, to)
            case TieKind.DONE_BY:
                followed = plans.get(tie.of) if graph.records[tie.to].kind is RecordKind.PERSON else None
                document.wasAssociatedWith(of, to, plan=followed)
            case TieKind.MEMBER:
                document.hadMember(of, to)
            case TieKind.RELATED | TieKind.BY_PLAN:
                continue  # PROV has no word for what was preferred; a plan stands with the association
    return document


def prov_json(graph: Graph) -> str:
    """The trace as PROV-JSON (W3C Member Submission, 24 April 2013)."""
    return str(trace_prov(graph).serialize(format="json", indent=1))


def prov_n(graph: Graph) -> str:
    """The trace in PROV-N (W3C Recommendation, 30 April 2013)."""
    return str(trace_prov(graph).get_provn()) + "\n"


def identifier(key: str) -> str:
    """A key as a qualified name of our namespace."""
    return f"{PREFIX}:{quote(key, safe='')}"


def _declare(document: ProvDocument, record: Record) -> None:
    own_kind = document.valid_qualified_name(f"{PREFIX}:{quote(record.what.replace(' ', '-'))}")
    told: dict[Any, Any] = {PROV_LABEL: record.name, PROV_TYPE: own_kind}
    told |= {f"{PREFIX}:{name.replace(' ', '_')}": value for name, value in record.facts.items() if value is not None}
    if record.events:
        told[f"{PREFIX}:audit"] = ", ".join(map(str, record.events))
    name = identifier(record.key)
    match record.kind:
        case RecordKind.THING:
            document.entity(name, told)
        case RecordKind.ACT:
            at = record.at.astimezone(UTC) if record.at else None
            document.activity(name, at, at, told)
        case RecordKind.PERSON:
            document.agent(name, told | {PROV_TYPE: PROV["Person"]})
        case RecordKind.PROGRAM:
            document.agent(name, told | {PROV_TYPE: PROV["SoftwareAgent"]})
