"""Say whether a PDF is as the laboratory signed it: offline, with the public half of its key alone."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from reports.signing.keys import CERTIFICATE_FILE, KeyTrouble, read_public_halves
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
        parser.add_argument("--key", type=Path, help="Public halves (PEM); without it the laboratory's own folder.")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            trusted = read_public_halves(options["key"] or Path(settings.KEYS) / CERTIFICATE_FILE)
        except KeyTrouble as trouble:
            raise CommandError(str(trouble)) from trouble
        failed = []
        for path in options["files"]:
            try:
                verdict = verify_pdf(path.read_bytes(), trusted)
            except OSError as problem:
                raise CommandError(f"{path} cannot be read: {problem.strerror}.") from problem
            if verdict.holds:
                self.stdout.write(
                    f"{path}: as it was signed by {verdict.signer} on {verdict.signed_at:%Y-%m-%d %H:%M UTC%z}"
                    f" ({verdict.meaning}). SHA-256 {verdict.sha256}"
                )
            else:
                failed.append(f"{path}: NOT as it was signed. {' '.join(verdict.problems)}")
        if failed:
            raise CommandError("\n".join(failed))
