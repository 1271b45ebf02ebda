"""Write the results of a submission as a table."""

import csv
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from labresults.management.acting import one
from labresults.models import Submission
from labresults.queries.frames import results_frame
from labresults.readers.harmless import protected


class Command(BaseCommand):
    help = "Print the selected results of a submission as CSV, unrounded, with their limits and uncertainties."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("submission")

    def handle(self, *args: Any, **options: Any) -> None:
        frame = results_frame(one(Submission, number=options["submission"]))
        harmless = frame.rename(index=protected, level="own")
        self.stdout.write(harmless.to_csv(lineterminator="\n", quoting=csv.QUOTE_NONNUMERIC), ending="")
