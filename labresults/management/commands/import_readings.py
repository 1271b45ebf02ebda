"""Take a file of readings as the instrument wrote it."""

from argparse import ArgumentParser
from datetime import datetime
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError

from labresults.actions.runs import import_readings
from labresults.management.acting import ActingCommand, one
from labresults.models import Layout, Person, Run


class Command(ActingCommand):
    help = "Take a file of readings: all of it, or nothing; every problem is named by row and column."

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("run")
        parser.add_argument("file")
        parser.add_argument("--layout", required=True, help="Name of a saved layout; its newest version is used.")
        parser.add_argument("--measured-from", help="ISO 8601 with a zone.")
        parser.add_argument("--measured-to", help="ISO 8601 with a zone.")

    def perform(self, *, by: Person, at: datetime, reason: str, options: dict[str, Any]) -> str:
        layout = Layout.objects.filter(name=options["layout"], reads="readings").order_by("-version").first()
        if layout is None:
            raise CommandError(f"There is no layout {options['layout']}.")
        path = Path(options["file"])
        try:
            content = path.read_bytes()
        except OSError as error:
            raise CommandError(f"{path} cannot be read: {error}.") from error
        file = import_readings(
            by=by,
            at=at,
            reason=reason,
            run=one(Run, number=options["run"]),
            content=content,
            filename=path.name,
            layout=layout,
            measured_from=self.moment(options["measured_from"]) if options["measured_from"] else None,
            measured_to=self.moment(options["measured_to"]) if options["measured_to"] else None,
        )
        return f"{file.name}: {file.readings.count()} readings, SHA-256 {file.sha256}."
