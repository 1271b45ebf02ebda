"""Plan a run of everything that is weighed in some batches."""

from argparse import ArgumentParser
from datetime import datetime
from typing import Any

from labresults.actions.runs import plan_run
from labresults.management.acting import ActingCommand, one
from labresults.models import Equipment, Person, PreparationBatch


class Command(ActingCommand):
    help = "Plan a run of the portions of one or more batches; prints the run's number."

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("batches", nargs="+")
        parser.add_argument("--instrument", required=True)

    def perform(self, *, by: Person, at: datetime, reason: str, options: dict[str, Any]) -> str:
        batches = [one(PreparationBatch, number=number) for number in options["batches"]]
        run = plan_run(
            by=by,
            at=at,
            reason=reason,
            method_version=batches[0].method_version,
            portions=[
                portion for batch in batches for portion in batch.portions.filter(discarded=None).order_by("tube")
            ],
            instrument=one(Equipment, code=options["instrument"]),
        )
        return f"{run.number}: {run.positions.count()} positions."
