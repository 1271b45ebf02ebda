"""Record masses, volumes and dilutions of a batch from a CSV file."""

from argparse import ArgumentParser
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError

from labresults.actions.weighings import Weighed, record_weighings
from labresults.management.acting import ActingCommand, one
from labresults.models import Equipment, Layout, Person, PreparationBatch
from labresults.readers.weighing_layout import WeighingLayout
from labresults.readers.weighings import Weighing, read_weighings
from labresults.terms import State


class Command(ActingCommand):
    help = "Record weighings of a batch: CSV with the columns label, mass g, volume mL, dilution, and others."

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("batch")
        parser.add_argument("file")
        parser.add_argument("--balance", help="Code of the balance.")
        parser.add_argument("--layout", help="Name of a saved layout of weighings; its newest version is used.")
        parser.add_argument("--state", choices=[state.value for state in State], default=State.AS_RECEIVED.value)
        parser.add_argument("--internal-standard", help="Lot of the internal standard that was added by mass.")

    def perform(self, *, by: Person, at: datetime, reason: str, options: dict[str, Any]) -> str:
        try:
            content = Path(options["file"]).read_bytes()
        except OSError as error:
            raise CommandError(f"{options['file']} cannot be read: {error}.") from error
        read = read_weighings(content, layout_named(options["layout"]))
        if read.problems:
            raise CommandError("\n".join(["Nothing was recorded.", *(f"  {problem}" for problem in read.problems)]))
        batch = one(PreparationBatch, number=options["batch"])
        rows = [as_weighed(row, State(options["state"]), reason) for row in read.weighings]
        if options["internal_standard"]:
            rows = [
                replace(row, internal_standard_lot=options["internal_standard"]) if row.internal_standard_g else row
                for row in rows
            ]
        balance = one(Equipment, code=options["balance"]) if options["balance"] else None
        made = record_weighings(by=by, at=at, reason=reason, batch=batch, rows=rows, balance=balance)
        return f"{batch.number}: {len(made)} portions recorded."


def layout_named(name: str | None) -> WeighingLayout | None:
    """The newest version of a saved layout of weighings. Raises CommandError when there is none of this name."""
    if not name:
        return None
    row = Layout.objects.filter(name=name, reads="weighings").order_by("-version").first()
    if row is None:
        raise CommandError(f"There is no layout of weighings {name}.")
    return WeighingLayout.from_json(row.specification)


def as_weighed(row: Weighing, state: State, reason: str) -> Weighed:
    """A row of the file as the action takes it."""
    texts = row.texts()
    dilution = texts.pop("dilution", "")
    return Weighed(
        label=row.label,
        dilution=dilution,
        state=state,
        reason=reason,
        **{name: float(text) for name, text in texts.items()},  # type: ignore[arg-type]
    )
