"""Follow a result back: from the printed string to the readings."""

import json
from argparse import ArgumentParser
from collections.abc import Iterator, Sequence
from typing import Any

from django.core.exceptions import ObjectDoesNotExist
from django.core.management.base import BaseCommand, CommandError
from django.urls import reverse

from labresults.calculation.run import Step
from labresults.queries.trace_graph import graph_of
from labresults.queries.trace_json import trace_json
from labresults.queries.trace_prov import prov_json
from reports.queries.derived_graph import graph_of_derived
from reports.queries.derived_json import derived_json
from reports.queries.derived_pages import PrintedPage, printed_page
from reports.queries.printed_trace import PrintedTrace, result_trace


class Command(BaseCommand):
    help = "Follow a result back: from printed strings through the calculation to readings, standards, people and file."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("result", type=int, help="The result's key, as the address of its page has it.")
        parser.add_argument("--derived", action="store_true", help="The key is one of a printed derived number.")
        parser.add_argument("--format", choices=["page", "json", "prov"], default="page", help="How it is written.")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            told = (_of_derived if options["derived"] else _of_result)(options["result"], options["format"])
        except ObjectDoesNotExist as error:
            what = "printed derived number" if options["derived"] else "result"
            raise CommandError(f"There is no {what} {options['result']}.") from error
        self.stdout.write(told)


def _of_result(key: int, form: str) -> str:
    found = result_trace(key)
    if form == "json":
        return _as_text(trace_json(found.page, found.printing))
    return prov_json(graph_of(found.page)) if form == "prov" else "\n".join(_told(found))


def _of_derived(key: int, form: str) -> str:
    page = printed_page(key)
    if form == "json":
        return _as_text(
            derived_json(
                page, {each.result.pk: reverse("trace-file", args=[each.result.pk, "json"]) for each in page.inputs}
            )
        )
    return prov_json(graph_of_derived(page)) if form == "prov" else "\n".join(_told_of_derived(page))


def _as_text(told: dict[str, Any]) -> str:
    return json.dumps(told, ensure_ascii=False, indent=1)


def _told_of_derived(page: PrintedPage) -> Iterator[str]:
    line = page.line
    yield f"{page.name}: {page.shown.formula}"
    yield f"Printed on {line.certificate}: {line.printed} {line.unit} ({page.printing[-1].words})"
    yield from _numbered(page.steps)
    yield f"Computed again: {'the same, bit for bit' if page.same else f'differs: {page.again.value}'}."
    for each in page.inputs:
        printed = f", printed {each.printed}" if each.printed else ""
        yield f"From result {each.result.pk}, {each.entered.given.label}{printed}"


def _numbered(steps: Sequence[Step]) -> Iterator[str]:
    for number, step in enumerate(steps, start=1):
        over = f" / ({step.denominator})" if step.denominator else ""
        yield f"{number:2d}  {step.what} ({step.note}): {step.numerator}{over} = {step.value:.10g} {step.unit}"


def _told(found: PrintedTrace) -> Iterator[str]:
    trace, result = found.page.trace, found.page.result
    yield f"{result.reported_as} in {result.sample}, {result.sample.client_identification if result.sample else ''}"
    for line in trace.printed:
        steps = found.printing[line.pk]
        yield f"Printed on {line.certificate}: {line.printed} {line.unit} ({steps[-1].words})"
    yield from _numbered(trace.steps)
    yield f"Computed again: {'the same, bit for bit' if trace.same else f'differs: {trace.recomputed}'}."
    run = trace.evaluation.run
    yield f"Run {run}, {run.method_version}, position {result.position.number}, planned by {run.made_by}"
    if trace.reading and trace.file:
        yield f"Readings {', '.join(trace.reading.replicates)}, row {trace.reading.file_row} of {trace.file.name}"
        yield f"File SHA-256 {trace.file.sha256}, loaded by {trace.file.made_by}"
    yield f"Standards {', '.join(f'{lot} (expires {lot.expires_on})' for lot in trace.lots)}"
    if trace.weighing:
        yield f"Weighed by {trace.weighing.made_by} on {trace.weighing.balance or 'no balance named'}"
    if trace.review:
        yield f"{trace.review.review.meaning} by {trace.review.review.made_by}"
