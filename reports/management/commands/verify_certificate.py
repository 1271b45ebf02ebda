"""Say whether a PDF is as the laboratory signed it: offline, with the public half of its key alone."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from reports.signing.keys import KeyTrouble, public_halves_in, read_public_halves
from reports.signing.stamps import TimeStamp
from reports.signing.verify import verify_pdf


class Command(BaseCommand):
    help = (
        "Say whether PDF certificates are as they were signed. Needs the public half of the laboratory's key and"
        " nothing else: no database, no network. It cannot know of a later amendment or withdrawal: the address on"
        " the certificate says that."
    )
    requires_system_checks = []
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("files", nargs="+", type=Path, help="PDF certificates.")
        parser.add_argument("--key", type=Path, help="Public halves (PEM); else all in the laboratory's own folder.")
        parser.add_argument(
            "--clock",
            type=Path,
            help="Roots of time-stamping authorities (PEM); else LABRESULTS_TIMESTAMPS_ROOT.",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            key = options["key"]
            trusted = read_public_halves(key) if key else public_halves_in(Path(settings.KEYS))
            clock = options["clock"] or settings.TIMESTAMPS_ROOT
            roots = read_public_halves(Path(clock)) if clock else ()
        except KeyTrouble as trouble:
            raise CommandError(str(trouble)) from trouble
        failed = []
        for path in options["files"]:
            try:
                verdict = verify_pdf(path.read_bytes(), trusted, roots)
            except OSError as problem:
                raise CommandError(f"{path} cannot be read: {problem.strerror}.") from problem
            if verdict.holds:
                self.stdout.write(
                    f"{path}: as it was signed by {verdict.signer} on {verdict.signed_at:%Y-%m-%d %H:%M UTC%z}"
                    f" ({verdict.meaning}). {_clock_said(verdict.stamp)} SHA-256 {verdict.sha256}"
                )
            else:
                failed.append(f"{path}: NOT as it was signed. {' '.join(verdict.problems)}")
        if failed:
            raise CommandError("\n".join(failed))


def _clock_said(stamp: TimeStamp | None) -> str:
    """Whose clock says when it was signed."""
    if stamp is None:
        return "No outside clock stamped it: the moment is the laboratory's word."
    said = f"Stamped by {stamp.by} on {stamp.at:%Y-%m-%d %H:%M:%S UTC%z}: it covers this signature"
    if stamp.is_trusted:
        return f"{said}, and leads to a root that was given."
    return f"{said}; whether to believe it was not judged, since no root was given (--clock)."
