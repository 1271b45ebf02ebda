"""Print the run list for the instrument."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from labresults.management.acting import one
from labresults.models import Run
from labresults.queries.run_lists import run_list


class Command(BaseCommand):
    help = "Print the run list as CSV: position, label, role, rack, cup and what else an instrument needs."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("run")

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(run_list(one(Run, number=options["run"])), ending="")
