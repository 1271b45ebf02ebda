"""The way back of one result as a drawing: its stages, and the curve that it was read from."""

from dataclasses import dataclass
from math import isfinite
from typing import Any

from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe

from labresults.plots.calibration import DrawnCurve, Standard, calibration_plot
from labresults.plots.lineage import STEPS_ON_SCREEN, Stage, lineage_plot
from labresults.queries.trace_graph import graph_of, of_steps
from labresults.queries.trace_pages import TracePage
from labresults.templatetags.quantities import figures
from labresults.terms import Station
from labresults.web.trace_stages import lineage_of


def title_of(page: TracePage) -> str:
    """The question that the page answers."""
    if page.newest:
        return f"Why is this one {page.newest.printed} {page.newest.unit}?"
    if page.result.value is None:
        return "Why has this one no value?"
    return f"Why is this one {figures(page.result.value, 7)} {page.result.unit}?"


def trace_context(page: TracePage) -> dict[str, Any]:
    """Everything that the page of a trace shows."""
    stages = lineage_of(page)
    return {
        "page": page,
        "trace": page.trace,
        "result": page.result,
        "title": title_of(page),
        "stages": stages,
        "lineage": lineage_drawing(page, stages),
        "calibration": calibration_drawing(page),
        "steps": linked_steps(page),
        "events": page.events,
        "here": Station.CERTIFICATES if page.trace.printed else Station.REVIEW,
    }


@dataclass(frozen=True)
class LinkedStep:
    """A step of the arithmetic with the record that its numbers come from, and that record's audit events."""

    step: Any
    record: Any
    address: str


def linked_steps(page: TracePage) -> list[LinkedStep]:
    """Every step of the arithmetic with where it leads."""
    records = of_steps(page, graph_of(page))
    return [
        LinkedStep(step, record, address_of(record)) for step, record in zip(page.trace.steps, records, strict=True)
    ]


def address_of(record: Any) -> str:
    """The page of a record; nothing where it has none."""
    if record.page is None:
        return ""
    name, arguments, more = record.page
    return f"{reverse(name, args=arguments)}{more}"


def lineage_drawing(page: TracePage, stages: list[Stage], in_a_row: int = STEPS_ON_SCREEN) -> SafeString:
    """The stages from left to right, so many in a row."""
    what = page.result.sample or page.result.position.label
    title = f"Lineage of {page.result.reported_as} in {what}, {stages[-1].gives}"
    return _safe(lineage_plot(stages, title, in_a_row=in_a_row))


def calibration_drawing(page: TracePage) -> SafeString:
    """The curve with its standards and where this result was read; nothing where there is no curve."""
    curve = page.trace.calibration
    if curve is None or curve.problem:
        return _safe("")
    version = page.trace.evaluation.run.method_version
    address = reverse("run", args=[page.trace.evaluation.run.number])
    standards = tuple(
        Standard(
            row.position.number, row.made, row.read, row.residual_percent, row.used,
            f"{address}?at={row.position.number}#p{row.position.number}",
        )
        for row in page.curve
        if row.read is not None and isfinite(row.read)
    )  # fmt: skip
    drawn = DrawnCurve(
        line=f"{page.result.line} nm",
        coefficients=(curve.b0 or 0.0, curve.b1 or 0.0, curve.b2 or 0.0),
        weighting=f"{curve.curve}, {curve.weighting}",
        standards=standards,
        solution_unit=version.solution_unit,
        signal_unit="ratio" if version.internal_standard_id else version.signal_unit,
    )
    return _safe(calibration_plot(drawn))


def _safe(drawing: str) -> SafeString:
    return mark_safe(drawing)  # every text in it was escaped where it was drawn
