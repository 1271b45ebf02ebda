"""The way back of a printed derived number as a paper, drawn from what is recorded and computed again."""

from collections.abc import Iterator
from datetime import datetime
from zoneinfo import ZoneInfo

from labresults.queries.people import laboratory
from labresults.templatetags.quantities import figures, plain
from reports.paper import Notice
from reports.queries.derived_graph import graph_of_derived, linked
from reports.queries.derived_pages import PrintedPage
from reports.queries.trace_report import event_lines, record_lines, rule_lines, sum_line
from reports.queries.words import date_in_words, moment_in_words
from reports.render.trace_report import render_trace_report
from reports.run_report import Picture
from reports.trace_report import NOT_SAME, SAME_FROM_INPUTS, InputLine, TraceReport


def derived_pdf(page: PrintedPage, drawn: tuple[str, str], at: datetime, by: str) -> bytes:
    """The paper as PDF; drawn: the question, and the lineage as SVG; one query. Raises what drawing raises."""
    return render_trace_report(derived_report(page, drawn, at, by))


def derived_report(page: PrintedPage, drawn: tuple[str, str], at: datetime, by: str) -> TraceReport:
    """The paper of a printed derived number, printed at `at` by a person; one query."""
    lab = laboratory()
    zone = ZoneInfo(lab.time_zone if lab else "UTC")
    graph, (title, lineage) = graph_of_derived(page), drawn
    return TraceReport(
        laboratory=lab.name if lab else "",
        name=page.name,
        title=title,
        printed=f"printed {moment_in_words(at.astimezone(zone))}, by {by}",
        verdict=SAME_FROM_INPUTS if page.same else NOT_SAME,
        facts=tuple(_facts(page, zone)),
        lineage=Picture("Where it came from", lineage),
        rules=tuple(rule_lines(page.printing)),
        sums=tuple(sum_line(step, step.record) for step in linked(page, graph)),
        standards=(),
        calibration=None,
        controls=(),
        shares=(),
        records=tuple(record_lines(graph)),
        events=tuple(event_lines(page.events, zone)),
        remarks=tuple(_remarks(page)),
        unit=page.line.unit,
        solution_unit="",
        inputs=tuple(_inputs(page)),
    )


def _facts(page: PrintedPage, zone: ZoneInfo) -> Iterator[Notice]:
    line, row, known = page.line, page.line.derived, page.again
    certificate = line.certificate
    yield Notice("Printed", f"“{line.printed}” {line.unit}, on {certificate}")
    if line.value is None:
        yield Notice("Stored value", f"none{f': {known.why}' if known.why else ''}")
    else:
        yield Notice("Stored value", f"{line.value!r} {line.unit}, {known.basis}")
    delivery = line.sample.submission if line.sample else line.sample_set.submission  # type: ignore[union-attr]
    yield Notice("Sample" if line.sample else "Set of samples", page.of)
    yield Notice("Submission", f"{delivery}, of {delivery.client}")
    yield Notice("Definition", f"{row}, {row.name}: {page.shown.formula}. {page.shown.below}")
    yield Notice("Source of the formula", row.source)
    yield Notice("Derivation", f"edition {known.edition}")
    when = certificate.made_at.astimezone(zone)
    yield Notice("Issued", f"{certificate.made_by}, {date_in_words(when.date())}, {when:%H:%M}")


def _inputs(page: PrintedPage) -> Iterator[InputLine]:
    for each in page.inputs:
        result, given = each.result, each.entered.given
        value = result.why_no_value or "no value" if given.value is None else f"{figures(given.value, 7)} {given.unit}"
        k = f" (k = {plain(given.coverage_factor)})"
        yield InputLine(
            what=f"{given.label}, {result.sample}" if page.line.sample else given.label,
            run=f"{result.evaluation.run}, position {result.position.number}, {result.line}",
            value=value,
            limits=f"{figures(given.detection_limit, 4)}; {figures(given.quantification_limit, 4)}",
            u="" if result.expanded_u is None else f"{figures(result.expanded_u, 2)}{k}",
            printed=each.printed,
        )


def _remarks(page: PrintedPage) -> Iterator[Notice]:
    if withdrawal := getattr(page.line.certificate, "withdrawal", None):
        yield Notice("Certificate withdrawn", withdrawal.reason)
    for words in page.again.lacking:
        yield Notice("Computed without", words)
