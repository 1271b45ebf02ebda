"""A trace as JSON, so that a program can follow a number as a person does on its page.

`format` is 1. `result`: key of the record that was asked about. `computed_again`: its value done anew, and whether that
is the stored one to the last bit. `printed`: each printed string with its rule steps. `arithmetic`: step by step, each
with the record that its numbers come from and its audit events. `uncertainty`: where it comes from. `records`, `ties`:
everything it stands on, and how. `remarks`, `nonconforming_work`, and `audit`: every event by its number.
Numbers are texts as Python writes them (`repr`), which read back as the same binary64. Moments are ISO 8601 in UTC.
"""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from labresults.calculation.run import Step
from labresults.models import AuditEvent
from labresults.queries.trace_graph import graph_of, of_steps
from labresults.queries.trace_pages import TracePage
from labresults.queries.trace_records import Graph, Record, written

FORMAT = 1

Printing = Mapping[int, Sequence[Any]]
"""Rule steps of printed numbers, by the key of their line: each with `name`, `words` and `gives`."""


def trace_json(page: TracePage, printing: Printing) -> dict[str, Any]:
    """The whole trace as plain values; no query."""
    graph, found = graph_of(page), page.trace
    return {
        "format": FORMAT,
        "result": next(iter(graph.records)),
        "computed_again": {"value": written(found.recomputed), "same": found.same},
        "printed": [printed_as_json(line, printing.get(line.pk, ())) for line in found.printed],
        "arithmetic": _arithmetic(page, graph),
        "uncertainty": [
            {"source": each.name, "u": written(each.u), "from": each.source, "counts": each.counts}
            for each in found.budget
        ],
        "records": as_records(graph),
        "ties": as_ties(graph),
        "remarks": [
            {"by": str(each.made_by), "at": _moment(each.made_at), "text": each.text} for each in found.comments
        ],
        "nonconforming_work": [work.number for work in found.cases],
        "audit": as_events(found.events),
    }


def as_records(graph: Graph) -> list[dict[str, Any]]:
    """Every record of a graph."""
    return [
        {"key": one.key, "kind": one.kind, "what": one.what, "name": one.name, "at": _moment(one.at),
         "audit": list(one.events), **({"facts": one.facts} if one.facts else {})}
        for one in graph.records.values()
    ]  # fmt: skip


def as_ties(graph: Graph) -> list[dict[str, Any]]:
    """How they stand on each other."""
    return [{"of": tie.of, "tie": tie.kind, "to": tie.to, "role": tie.role} for tie in graph.ties]


def as_events(events: Sequence[AuditEvent]) -> list[dict[str, Any]]:
    """Audit events, each with the SHA-256 by which the chain holds it."""
    return [
        {"event": event.seq, "at": _moment(event.at), "by": str(event.person), "act": event.act,
         "subject": [event.subject_kind, event.subject], "sha256": event.sha256}
        for event in events
    ]  # fmt: skip


def printed_as_json(line: Any, steps: Sequence[Any]) -> dict[str, Any]:
    """A printed string with its rule steps."""
    return {
        "record": f"line.{line.pk}",
        "certificate": line.certificate.number,
        "issue": line.certificate.issue,
        "column": line.column,
        "printed": line.printed,
        "unit": line.unit,
        "steps": [{"name": step.name, "words": step.words, "gives": step.gives} for step in steps],
    }


def _arithmetic(page: TracePage, graph: Graph) -> list[dict[str, Any]]:
    """Every step of the arithmetic."""
    return [as_step(*one) for one in zip(page.trace.steps, of_steps(page, graph), strict=True)]


def as_step(step: Step, record: Record) -> dict[str, Any]:
    """A step with its own numbers, the record that they come from, and the audit events of that."""
    return {
        "what": step.what,
        "note": step.note,
        "numerator": step.numerator,
        "denominator": step.denominator,
        "value": written(step.value),
        "unit": step.unit,
        "record": record.key,
        "audit": list(record.events),
    }


def _moment(at: datetime | None) -> str | None:
    return at.astimezone(UTC).isoformat() if at else None
