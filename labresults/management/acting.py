"""What the commands that act have in common: who acts, when, and refusals in words instead of a traceback."""

import csv
from argparse import ArgumentParser
from datetime import datetime
from getpass import getpass
from os import environ
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from labresults.acts import BadInput, Refusal
from labresults.models import Person
from labresults.queries.people import by_sign_in


class ActingCommand(BaseCommand):
    """A command that calls one action on behalf of a person."""

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--by", required=True, help="Who acts: the name that the person signs in with.")
        parser.add_argument("--at", help="When, with a time zone (ISO 8601); now when not given.")
        parser.add_argument("--reason", default="", help="Why, where a reason is asked for.")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            by = by_sign_in(options["by"])
        except Person.DoesNotExist as error:
            raise CommandError(f"Nobody signs in as {options['by']}.") from error
        try:
            said = self.perform(by=by, at=self.moment(options["at"]), reason=options["reason"], options=options)
        except BadInput as refusal:
            raise CommandError(
                "\n".join([str(refusal), *(f"  {problem}" for problem in refusal.problems)])
            ) from refusal
        except Refusal as refusal:
            raise CommandError(str(refusal)) from refusal
        self.stdout.write(said)

    def perform(self, *, by: Person, at: datetime, reason: str, options: dict[str, Any]) -> str:
        """Call the action; return what to print."""
        raise NotImplementedError

    @staticmethod
    def moment(text: str | None) -> datetime:
        """The time of the act. Raises CommandError when it has no time zone."""
        if not text:
            return timezone.now()
        at = parse_datetime(text)
        if at is None or at.tzinfo is None:
            raise CommandError(f"“{text}” is not a time with a zone, such as 2026-11-16T08:00:00+00:00.")
        return at


def password_of(person: Person) -> str:
    """The password for a signature: from LABRESULTS_PASSWORD, else asked for."""
    return environ.get("LABRESULTS_PASSWORD") or getpass(f"Password of {person}: ")


def rows_of(path: str) -> list[dict[str, str]]:
    """Rows of a CSV file (UTF-8, comma or semicolon) by heading. Raises CommandError when it cannot be read."""
    try:
        text = Path(path).read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise CommandError(f"{path} cannot be read: {error}. Give a CSV file in UTF-8.") from error
    heading = text.split("\n", 1)[0]
    return list(csv.DictReader(text.splitlines(), delimiter=";" if ";" in heading else ","))


def one(model: Any, **named: Any) -> Any:
    """The row with this name. Raises CommandError naming it when it is not there."""
    try:
        return model.objects.get(**named)
    except model.DoesNotExist as error:
        raise CommandError(f"There is no {model._meta.verbose_name} {', '.join(map(str, named.values()))}.") from error
