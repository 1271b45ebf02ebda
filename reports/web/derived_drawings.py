"""The way back of a printed derived number as a drawing: its sample or set, its inputs, what it gives, its print."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe

from labresults.plots.lineage import STEPS_ON_SCREEN, Stage, Stands, lineage_plot
from labresults.templatetags.quantities import figures, plain, things
from labresults.terms import Station
from labresults.web.trace_drawings import address_of
from labresults.web.trace_stages import issued_stage, moment_of
from reports.queries.derived_graph import graph_of_derived, linked
from reports.queries.derived_pages import PrintedPage

MOST_NAMED = 8
"""So many inputs are named on the drawing; all of them stand in the table below it."""


def derived_context(page: PrintedPage) -> dict[str, Any]:
    """Everything that the page of a printed derived number shows."""
    stages = stages_of(page)
    return {
        "page": page,
        "title": question(page),
        "stages": stages,
        "lineage": derived_lineage(page, stages),
        "steps": [replace(step, address=address_of(step.record)) for step in linked(page, graph_of_derived(page))],
        "events": list(reversed(page.events)),
        "here": Station.CERTIFICATES,
    }


def question(page: PrintedPage) -> str:
    """The question that the page answers."""
    if page.again.why:
        return "Why has this one no value?"
    return f"Why is this one {page.line.printed} {page.line.unit}?"


def derived_lineage(page: PrintedPage, stages: list[Stage], in_a_row: int = STEPS_ON_SCREEN) -> SafeString:
    """The stages from left to right, so many in a row."""
    drawing = lineage_plot(stages, f"Lineage of {page.name}, {stages[-1].gives}", in_a_row=in_a_row)
    return mark_safe(drawing)  # every text in it was escaped where it was drawn


def stages_of(page: PrintedPage) -> list[Stage]:
    """From the counter to the certificate."""
    measured = Stage(Station.RUNS, things(len(page.inputs), "result"), tuple(_inputs(page)), "#inputs")
    computed = Stage(Station.REVIEW, _gives(page), tuple(_computed(page)), "#arithmetic")
    of_set = page.line.sample_set  # named with its submission: another one may have a set of this name
    place = f"{of_set.submission.number}: {of_set}" if of_set else page.of
    return [_of_what(page), measured, computed, issued_stage(page.line, place)]


def _of_what(page: PrintedPage) -> Stage:
    sample, of_set = page.line.sample, page.line.sample_set
    delivery = of_set.submission if of_set else sample.submission
    came = Stands(delivery.number, str(delivery.client), reverse("submission", args=[delivery.number]))
    if of_set is None:
        address = reverse("sample", args=[str(sample)])
        named = Stands(sample.client_identification, "client’s own name", address)
        return Stage(Station.RECEPTION, str(sample), (named, came), address)
    members = list(of_set.members.all())
    address = reverse("sample-sets", args=[delivery.number])
    mass = f"{figures(sum(each.mass_kg for each in members), 4)} kg in all"
    named = Stands(f"Set {of_set}", f"{things(len(members), 'sample')}, {mass}", address)
    by = Stands(str(of_set.made_by), f"entered {moment_of(of_set.made_at)}", reverse("people"))
    return Stage(Station.RECEPTION, things(len(members), "sample"), (named, by, came), address)


def _inputs(page: PrintedPage) -> Iterator[Stands]:
    for each in page.inputs[:MOST_NAMED]:
        result = each.result
        gives = result.why_no_value or "no value" if result.value is None else f"{figures(result.value, 5)}"
        words = f"{gives} {result.unit}, {result.evaluation.run}"
        yield Stands(each.entered.given.label, words, reverse("trace", args=[result.pk]))
    if (more := len(page.inputs) - MOST_NAMED) > 0:
        yield Stands(things(more, "more result"), "see the table", "#inputs")


def _computed(page: PrintedPage) -> Iterator[Stands]:
    row, known = page.line.derived, page.again
    yield Stands(f"Definition {row}", page.shown.formula, reverse("derived-result", args=[row.code]))
    yield Stands(str(row.made_by), f"defined {moment_of(row.made_at)}", reverse("people"), depth=1)
    if known.expanded_u is not None:
        words = f"derivation, edition {known.edition}"
        yield Stands(f"U = {figures(known.expanded_u, 2)}, k = {plain(known.coverage_factor)}", words, "#arithmetic")
    for review in {each.decided.review.pk: each.decided.review for each in page.inputs if each.decided}.values():
        yield Stands(str(review.made_by), f"{review.decision} {moment_of(review.made_at)}", reverse("people"))


def _gives(page: PrintedPage) -> str:
    known = page.again
    if known.why:
        return "no value"
    if known.low is not None:
        return f"{figures(known.low, 5)} to {figures(known.high, 5)} {known.unit}"
    if known.sign:
        return f"{known.sign}{figures(known.bound, 5)} {known.unit}"
    return f"{figures(known.value, 5)} {known.unit}"
