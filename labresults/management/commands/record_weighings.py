"""Record masses, volumes and dilutions of a batch from a CSV file."""

from argparse import ArgumentParser
from datetime import datetime
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError

from labresults.actions.preparation import Weighed, record_weighings
from labresults.management.acting import ActingCommand, one
from labresults.models import Equipment, Person, PreparationBatch
from labresults.readers.weighings import Amount, Weighing, read_weighings
from labresults.terms import State


class Command(ActingCommand):
    help = "Record weighings of a batch: CSV with the columns label, mass g, volume mL, dilution, and others."

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("batch")
        parser.add_argument("file")
        parser.add_argument("--balance", help="Code of the balance.")
        parser.add_argument("--state", choices=[state.value for state in State], default=State.AS_RECEIVED.value)

    def perform(self, *, by: Person, at: datetime, reason: str, options: dict[str, Any]) -> str:
        read = read_weighings(Path(options["file"]).read_bytes())
        if read.problems:
            raise CommandError("\n".join(["Nothing was recorded.", *(f"  {problem}" for problem in read.problems)]))
        batch = one(PreparationBatch, number=options["batch"])
        rows = [as_weighed(row, State(options["state"]), reason) for row in read.weighings]
        balance = one(Equipment, code=options["balance"]) if options["balance"] else None
        made = record_weighings(by=by, at=at, reason=reason, batch=batch, rows=rows, balance=balance)
        return f"{batch.number}: {len(made)} portions recorded."


def as_weighed(row: Weighing, state: State, reason: str) -> Weighed:
    """A row of the file as the action takes it."""

    def number(amount: Amount | None) -> float | None:
        return amount.value if amount else None

    return Weighed(
        label=row.label,
        mass_g=number(row.mass_g),
        volume_mL=number(row.volume_mL),
        aliquot_mL=number(row.aliquot_mL),
        solvent_g=number(row.solvent_g),
        dilution=row.dilution.text if row.dilution else "",
        state=state,
        moisture_percent=number(row.moisture_percent),
        reason=reason,
    )
