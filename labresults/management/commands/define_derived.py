"""Define derived results from files."""

from argparse import ArgumentParser
from datetime import datetime
from pathlib import Path
from typing import Any

from labresults.actions.derived import define_derived
from labresults.management.acting import ActingCommand
from labresults.management.definitions import read_definition
from labresults.models import Person


class Command(ActingCommand):
    help = "Enter the next version of each derived result that the files describe, one a file (see fixtures/derived)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("files", nargs="+", metavar="FILE.toml")

    def perform(self, *, by: Person, at: datetime, reason: str, options: dict[str, Any]) -> str:
        rows = [define_derived(by=by, at=at, reason=reason, **read_definition(Path(name))) for name in options["files"]]
        return "\n".join(f"{row}: {row.name}" for row in rows)
