"""Watch a folder into which instruments drop their files of readings."""

import logging
import signal
import time
from argparse import ArgumentParser
from datetime import datetime
from pathlib import Path
from threading import Event
from typing import Any

from django.core.management.base import CommandError
from django.db import DatabaseError, close_old_connections, connection

from labresults.actions.evaluation import evaluate_run
from labresults.actions.readings import import_readings
from labresults.acts import BadInput, Refusal
from labresults.management.acting import ActingCommand
from labresults.management.folder import DONE, REFUSED, Folder, FolderTaken, Left, alone, run_named, shown
from labresults.management.saying import evaluation_said, file_said, refusal_said
from labresults.models import Person, Run
from labresults.queries.people import by_sign_in
from labresults.queries.run_imports import MOST_BYTES, newest_layout
from labresults.terms import WayIn

_NO_RUN = (
    "Nothing says which run it belongs to. Let its name begin with the number of the run, as R26-0012-night.csv,"
    " or one of its first lines have it; then put it into the folder again."
)
_TOO_LARGE = f"It is larger than {MOST_BYTES // 10**6} MB. Write it in parts, each with some of the lines."

_FAULT = "The program itself failed: say so to whoever looks after it."
_log = logging.getLogger(__name__)


class Command(ActingCommand):
    help = (
        "Take every file of readings that comes into a folder and is still, for the run that its name begins with;"
        f" files go to {DONE}/ or {REFUSED}/ then, with a report beside each."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("folder")
        parser.add_argument("--layout", required=True, help="Name of a saved layout; its newest version is used.")
        parser.add_argument("--evaluate", action="store_true", help="Evaluate each run when its file was taken.")
        parser.add_argument("--once", action="store_true", help="Take what is still now, and end.")
        parser.add_argument("--every", type=float, default=5.0, help="Seconds between two looks (5).")
        parser.add_argument(
            "--still",
            type=float,
            default=60.0,
            help="Seconds that a file must not change (60): longer than the instrument ever pauses while it writes.",
        )

    def perform(self, *, by: Person, at: datetime, reason: str, options: dict[str, Any]) -> str:
        self._options = options
        newest_layout(options["layout"])  # a wrong name is said at once, and not beside each file
        folder = Folder(Path(options["folder"]), options["still"])
        self._stop = Event()
        try:
            with alone(folder.path):
                folder.prepare()
                self._watch(folder)
        except FolderTaken as taken:
            raise CommandError(f"{taken} One is enough.") from taken
        except OSError as error:
            raise CommandError(f"{folder.path} cannot be watched: {error}.") from error
        return f"{folder.path} is not watched any more."

    def _watch(self, folder: Folder) -> None:
        """Look again and again, or twice for `--once`; a file that was begun is ended before the program stops."""
        before = signal.signal(signal.SIGTERM, lambda *_: self._stop.set())
        try:
            self._look(folder)
            while not self._stop.wait(self._options["still"] if self._options["once"] else self._options["every"]):
                self._look(folder)
                if self._options["once"]:
                    break
        except KeyboardInterrupt:
            self.stdout.write("Stopped.")
        finally:
            signal.signal(signal.SIGTERM, before)

    def _look(self, folder: Folder) -> None:
        if not connection.in_atomic_block:
            close_old_connections()  # as pages do between two requests: the database may have been away
        for path in folder.still_files(time.monotonic()):
            self.stdout.write(f"{shown(path.name)}: {self._attended(folder, path)}")

    def _attended(self, folder: Folder, path: Path) -> str:
        """Take one file and move it aside; whatever goes wrong with it, the next one has its turn."""
        try:
            return self._aside(folder, path, *self._outcome(folder, path))
        except Left as left:
            return str(left)
        except DatabaseError as error:
            return f"the database did not answer ({error}); left for the next look."

    def _outcome(self, folder: Folder, path: Path) -> tuple[str, str]:
        """Where a file goes, and its report. Raises Left, or DatabaseError: then it stays for the next look."""
        try:
            content = folder.content(path, MOST_BYTES)
        except OSError as error:
            return REFUSED, f"It cannot be read: {error.strerror}."
        if content is None:
            return REFUSED, _TOO_LARGE
        try:
            return self._taken(path.name, content)
        except DatabaseError:
            raise
        except Exception as fault:  # one file must not end the watch over all the others
            _log.exception("%s", path)
            return REFUSED, f"{_FAULT} ({fault!r})"

    def _aside(self, folder: Folder, path: Path, to: str, report: str) -> str:
        first = report.splitlines()[0]  # the rest stands in the report
        try:
            place = folder.move(path, to, f"{shown(path.name)}\n{report}\n")
        except Left as gone:
            return f"{first} But {gone}"
        except OSError as error:
            folder.leave(path)
            return f"{first} It could not be moved to {to}: {error.strerror}. Move it by hand."
        return f"{first} Moved to {to}/{shown(place.name)}."

    def _taken(self, filename: str, content: bytes) -> tuple[str, str]:
        """Take the file for its run; where it goes then, and the report."""
        number = run_named(filename, content)
        run = Run.objects.filter(number=number).first()
        if run is None:
            return REFUSED, f"There is no run {number}. Correct the name of the file." if number else _NO_RUN
        try:
            by, at = self._who(), self.moment(self._options["at"])
            file = import_readings(
                by=by,
                at=at,
                reason=self._options["reason"],
                run=run,
                content=content,
                filename=filename,
                layout=newest_layout(self._options["layout"]),
                way=WayIn.FOLDER,
            )
        except Refusal as refusal:
            return REFUSED, f"It was not taken. {refusal_said(refusal)}"
        said = f"Taken for run {run} by {by} at {at:%Y-%m-%d %H:%M:%S %Z}. {file_said(file)}"
        return DONE, "\n".join([said, *self._evaluated(run, by, at)])

    def _evaluated(self, run: Run, by: Person, at: datetime) -> list[str]:
        if not self._options["evaluate"]:
            return []
        try:
            return [evaluation_said(evaluate_run(by=by, at=at, reason=self._options["reason"], run=run))]
        except Refusal as refusal:
            return [f"It is not evaluated: {refusal_said(refusal)}"]
        except Exception as fault:  # the file is taken, whatever became of the evaluation
            _log.exception("%s", run)
            return [f"It is not evaluated. {_FAULT} ({fault!r})"]

    def _who(self) -> Person:
        """Who acts, looked up anew: roles are given and taken away while a program runs for weeks."""
        try:
            return by_sign_in(self._options["by"])
        except Person.DoesNotExist as error:
            raise BadInput(f"Nobody signs in as {self._options['by']} any more. Start the program again.") from error
