"""Follow a printed number back."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from labresults.models import Result
from labresults.queries.trace import trace


class Command(BaseCommand):
    help = "Follow a result back: calculation, run, readings, curve, standards, balance, people, file."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("result", type=int, help="The result's key, as the certificate's page gives it.")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            found = trace(options["result"])
        except Result.DoesNotExist as error:
            raise CommandError(f"There is no result {options['result']}.") from error
        say = self.stdout.write
        sample = found.result.sample
        say(f"{found.result.reported_as} in {sample}, {sample.client_identification if sample else ''}")
        for number, step in enumerate(found.steps, start=1):
            over = f" / ({step.denominator})" if step.denominator else ""
            say(f"{number:2d}  {step.what} ({step.note}): {step.numerator}{over} = {step.value:.10g} {step.unit}")
        say(f"Computed again: {'the same, bit for bit' if found.same else f'differs: {found.recomputed}'}.")
        run = found.evaluation.run
        say(f"Run {run}, {run.method_version}, position {found.result.position.number}, planned by {run.made_by}")
        if found.reading and found.file:
            say(f"Readings {', '.join(found.reading.replicates)}, row {found.reading.file_row} of {found.file.name}")
            say(f"File SHA-256 {found.file.sha256}, loaded by {found.file.made_by}")
        say(f"Standards {', '.join(f'{lot} (expires {lot.expires_on})' for lot in found.lots)}")
        if found.weighing:
            say(f"Weighed by {found.weighing.made_by} on {found.weighing.balance or 'no balance named'}")
        if found.review:
            say(f"{found.review.review.meaning} by {found.review.review.made_by}")
