"""Compute stored evaluations again."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from labresults.actions.evaluation import compute_again
from labresults.models import Evaluation
from labresults.queries.run_digests import inputs_digest, outputs_digest, this_platform


class Command(BaseCommand):
    help = "Compute evaluations again from what is stored and compare digests; nothing is written."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("runs", nargs="*", help="Numbers of runs; all of them when none is given.")
        parser.add_argument("--check", action="store_true", required=True, help="Compare, write nothing.")

    def handle(self, *args: Any, **options: Any) -> None:
        rows = Evaluation.objects.select_related("run__method_version").order_by("pk")
        if options["runs"]:
            rows = rows.filter(run__number__in=options["runs"])
        wrong = [problem for row in rows if (problem := self._problem(row))]
        if wrong:
            raise CommandError("\n".join(wrong))
        self.stdout.write(f"{rows.count()} evaluations computed again: each the same.")

    @staticmethod
    def _problem(row: Evaluation) -> str:
        again = compute_again(row)
        if inputs_digest(again.loaded) != row.inputs_sha256:
            return f"{row.run}, evaluation {row.version}: its inputs are not what they were."
        if row.platform == this_platform() and outputs_digest(again.evaluated) != row.outputs_sha256:
            return f"{row.run}, evaluation {row.version}: the same inputs give another output."
        return ""
