"""The way back of a number as a paper, drawn from what is recorded and computed again; nothing is stored."""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from labresults.calculation.run import Step
from labresults.queries.people import laboratory
from labresults.queries.trace_graph import graph_of, of_steps
from labresults.queries.trace_pages import TracePage
from labresults.queries.trace_records import Graph, Record
from labresults.templatetags.quantities import allowed, figures, observed, plain, to_place
from reports.paper import Notice
from reports.queries.printed_trace import PrintedTrace
from reports.queries.words import date_in_words, moment_in_words
from reports.render.trace_report import render_trace_report
from reports.rules.explain_print import PrintStep
from reports.run_report import Picture
from reports.trace_report import (
    NOT_SAME,
    SAME,
    ControlLine,
    EventLine,
    RecordLine,
    RuleLine,
    ShareLine,
    StandardLine,
    SumLine,
    TraceReport,
)

if TYPE_CHECKING:
    from labresults.models import AuditEvent

Drawn = tuple[str, str, str]
"""Title of the page, the lineage and the calibration as SVG; the last one empty where there is no curve."""


def trace_pdf(found: PrintedTrace, drawn: Drawn, at: datetime, by: str) -> bytes:
    """The paper as PDF; one query. Raises what drawing raises."""
    return render_trace_report(trace_report(found, drawn, at, by))


def trace_report(found: PrintedTrace, drawn: Drawn, at: datetime, by: str) -> TraceReport:
    """The paper of a trace, printed at `at` by a person; one query."""
    page, lab = found.page, laboratory()
    zone = ZoneInfo(lab.time_zone if lab else "UTC")
    graph, (title, lineage, calibration) = graph_of(page), drawn
    result = page.result
    return TraceReport(
        laboratory=lab.name if lab else "",
        name=f"{result.reported_as} in {result.sample or result.position.label}",
        title=title,
        printed=f"printed {moment_in_words(at.astimezone(zone))}, by {by}",
        verdict=SAME if page.trace.same else NOT_SAME,
        facts=tuple(_facts(page, zone)),
        lineage=Picture("Where it came from", lineage),
        rules=tuple(rule_lines(found.steps)),
        sums=tuple(_sums(page, graph)),
        standards=tuple(_standards(page)),
        calibration=Picture(f"The curve of {result.line}", calibration) if calibration else None,
        controls=tuple(_controls(page)),
        shares=tuple(_shares(page)),
        records=tuple(record_lines(graph)),
        events=tuple(event_lines(page.trace.events, zone)),
        remarks=tuple(_remarks(page, zone)),
        unit=result.unit,
        solution_unit=page.trace.evaluation.run.method_version.solution_unit,
    )


def _facts(page: TracePage, zone: ZoneInfo) -> Iterator[Notice]:
    result, found = page.result, page.trace
    if page.newest:
        yield Notice("Printed", f"“{page.newest.printed}” {page.newest.unit}, on {page.newest.certificate}")
    if result.value is None:
        yield Notice("Stored value", f"none: {result.why_no_value}")
    else:
        yield Notice("Stored value", f"{result.value!r} {result.unit}, {result.basis}")
    if result.sample:
        delivery = result.sample.submission
        yield Notice("Sample", f"{result.sample}, “{result.sample.client_identification}”, {result.sample.matrix}")
        yield Notice("Submission", f"{delivery}, of {delivery.client}")
    run = found.evaluation.run
    yield Notice("Measured", f"{run}, position {result.position.number}, {result.line}, {run.method_version}")
    if found.file:
        yield Notice("File of readings", f"{found.file.name}, SHA-256 {found.file.sha256}")
    for act in page.people:
        when = act.when.astimezone(zone)
        yield Notice(f"{act.what[0].upper()}{act.what[1:]}", f"{act.who}, {date_in_words(when.date())}, {when:%H:%M}")


def _sums(page: TracePage, graph: Graph) -> Iterator[SumLine]:
    reading = page.trace.reading
    for step, record in zip(page.trace.steps, of_steps(page, graph), strict=True):
        numerator, denominator = step.numerator, step.denominator or ""
        if step is page.trace.steps[0] and reading and reading.count > 1 and reading.count == len(reading.replicates):
            numerator, denominator = " + ".join(reading.replicates), str(reading.count)
        yield replace(sum_line(step, record), numerator=numerator, denominator=denominator)


def _standards(page: TracePage) -> Iterator[StandardLine]:
    for row in page.curve:
        reading = page.trace.readings.get(row.position.number)
        yield StandardLine(
            standard=row.position.label,
            lot=str(row.position.lot or ""),
            made=plain(row.made),
            replicates=", ".join(reading.replicates) if reading else "",
            read=figures(row.read, 6),
            read_back=figures(row.read_back, 4),
            residual=to_place(row.residual_percent, 2),
            used=row.used,
        )


def _controls(page: TracePage) -> Iterator[ControlLine]:
    for outcome in page.beside:
        accepted = getattr(outcome, "acceptance", None)
        words = f", accepted by {accepted.made_by}: {accepted.reason}" if accepted else ""
        yield ControlLine(
            position=str(outcome.position.number),
            what=f"{outcome.position.role}: {outcome.measure}",
            found=observed(outcome),
            allowed=allowed(outcome),
            verdict=f"{outcome.verdict}{words}",
        )


def _shares(page: TracePage) -> Iterator[ShareLine]:
    for share in page.shares:
        percent = "beside" if share.percent is None else figures(share.percent, 2)
        yield ShareLine(share.contribution.name, figures(share.contribution.u, 3), percent)


def rule_lines(steps: Iterable[PrintStep]) -> Iterator[RuleLine]:
    """From the value to the printed string."""
    return (RuleLine(step.name.capitalize(), step.words, step.gives) for step in steps)


def sum_line(step: Step, record: Record) -> SumLine:
    """A step of the arithmetic with the record that its numbers come from."""
    return SumLine(
        what=step.what,
        note=step.note,
        numerator=step.numerator,
        denominator=step.denominator or "",
        gives=f"{figures(step.value, 7)} {step.unit}".strip(),
        record=f"{record.what}: {record.name}",
        audit=", ".join(map(str, record.events)),
    )


def record_lines(graph: Graph) -> Iterator[RecordLine]:
    """Every record that a number stands on."""
    for record in graph.records.values():
        says = "; ".join(f"{name} {value}" for name, value in record.facts.items() if value is not None)
        yield RecordLine(record.what, record.name, says, ", ".join(map(str, record.events)))


def event_lines(events: Iterable["AuditEvent"], zone: ZoneInfo) -> Iterator[EventLine]:
    """What was done, with the SHA-256 by which the chain holds it."""
    for event in events:
        when = event.at.astimezone(zone)
        what = f"{event.act.replace('_', ' ')}: {event.subject}"
        yield EventLine(
            str(event.seq), f"{date_in_words(when.date())}, {when:%H:%M}", str(event.person), what, event.sha256
        )


def _remarks(page: TracePage, zone: ZoneInfo) -> Iterator[Notice]:
    for work in page.trace.cases:
        yield Notice(f"Nonconforming work {work.number}", work.what)
    for remark in page.trace.comments:
        yield Notice(f"{remark.made_by}, {date_in_words(remark.made_at.astimezone(zone).date())}", remark.text)
