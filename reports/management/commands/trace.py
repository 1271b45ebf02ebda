"""Follow a result back: from the printed string to the readings."""

import json
from argparse import ArgumentParser
from collections.abc import Iterator
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from labresults.models import Result
from labresults.queries.trace_graph import graph_of
from labresults.queries.trace_json import trace_json
from labresults.queries.trace_prov import prov_json
from reports.queries.printed_trace import PrintedTrace, result_trace


class Command(BaseCommand):
    help = "Follow a result back: printed strings, calculation, run, readings, curve, standards, balance, people, file."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("result", type=int, help="The result's key, as the certificate's page gives it.")
        parser.add_argument("--format", choices=["page", "json", "prov"], default="page", help="How it is written.")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            found = result_trace(options["result"])
        except Result.DoesNotExist as error:
            raise CommandError(f"There is no result {options['result']}.") from error
        if options["format"] == "json":
            self.stdout.write(json.dumps(trace_json(found.page, found.printing), ensure_ascii=False, indent=1))
        elif options["format"] == "prov":
            self.stdout.write(prov_json(graph_of(found.page)))
        else:
            self.stdout.write("\n".join(_told(found)))


def _told(found: PrintedTrace) -> Iterator[str]:
    trace, result = found.page.trace, found.page.result
    yield f"{result.reported_as} in {result.sample}, {result.sample.client_identification if result.sample else ''}"
    for line in trace.printed:
        steps = found.printing[line.pk]
        yield f"Printed on {line.certificate}: {line.printed} {line.unit} ({steps[-1].words})"
    for number, step in enumerate(trace.steps, start=1):
        over = f" / ({step.denominator})" if step.denominator else ""
        yield f"{number:2d}  {step.what} ({step.note}): {step.numerator}{over} = {step.value:.10g} {step.unit}"
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
