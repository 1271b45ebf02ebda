"""Take files of readings as the instrument wrote them."""

from argparse import ArgumentParser
from datetime import datetime
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError

from labresults.actions.readings import import_readings
from labresults.acts import BadInput, Refusal
from labresults.management.acting import ActingCommand, one
from labresults.management.saying import file_said, refusal_said
from labresults.models import Person, Run
from labresults.queries.run_imports import as_csv, matched_said, newest_layout, struck_said
from labresults.terms import WayIn


class Command(ActingCommand):
    help = "Take files of readings: all of a file, or nothing of it; every problem is named by row and column."

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("run")
        parser.add_argument("files", nargs="+", metavar="file")
        parser.add_argument("--layout", required=True, help="Name of a saved layout; its newest version is used.")
        parser.add_argument("--measured-from", help="ISO 8601 with a zone; else the times of the file, else now.")
        parser.add_argument("--measured-to", help="ISO 8601 with a zone.")
        parser.add_argument(
            "--strike", action="append", default=[], metavar="ROW:WHY", help="Leave a row of the file out, and why."
        )
        parser.add_argument(
            "--match", action="append", default=[], metavar="NAME=POSITION", help="Which position the file means."
        )
        parser.add_argument("--problems", metavar="FILE", help="Write every problem into a CSV file too.")

    def perform(self, *, by: Person, at: datetime, reason: str, options: dict[str, Any]) -> str:
        paths = [Path(name) for name in options["files"]]
        if options["strike"] and len(paths) > 1:
            raise CommandError("Rows to leave out are those of one file: take that file by itself.")
        given = {
            "by": by,
            "at": at,
            "reason": reason,
            "run": one(Run, number=options["run"]),
            "layout": newest_layout(options["layout"]),
            "measured_from": self.moment(options["measured_from"]) if options["measured_from"] else None,
            "measured_to": self.moment(options["measured_to"]) if options["measured_to"] else None,
            "struck": struck_said(options["strike"]),
            "matched": matched_said(options["match"]),
            "way": WayIn.COMMAND,
        }
        return self._all(paths, given, options["problems"])

    def _all(self, paths: list[Path], given: dict[str, Any], problems_to: str | None) -> str:
        """Take each file by itself; one that is refused does not hold back the others, and is said at the end."""
        said, refused, problems = [], [], []
        for path in paths:
            try:
                said.append(file_said(import_readings(content=self._content(path), filename=path.name, **given)))
            except Refusal as refusal:
                refused.append(f"{path.name} was not taken. {refusal_said(refusal)}")
                problems += getattr(refusal, "problems", ())
        if problems_to:
            Path(problems_to).write_bytes(as_csv(problems))
        if refused:
            raise CommandError("\n".join([*said, *refused]))
        return "\n".join(said)

    @staticmethod
    def _content(path: Path) -> bytes:
        try:
            return path.read_bytes()
        except OSError as error:
            raise BadInput(f"It cannot be read: {error.strerror}.") from error
