"""Make the key that certificates are signed with, and put its public half on record."""

from argparse import ArgumentParser
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import CommandError

from labresults.acts import require
from labresults.management.acting import ActingCommand
from labresults.models import Laboratory, Person
from reports.actions.signing import register_signing_certificate
from reports.signing.keys import CERTIFICATE_FILE, KeyTrouble, make_key, read_public, set_aside


class Command(ActingCommand):
    help = (
        "Make the key that certificates are signed with, in the folder LABRESULTS_KEYS (encrypted by"
        " LABRESULTS_KEY_PASSPHRASE where that is set), and put its public half on record."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        how = parser.add_mutually_exclusive_group()
        how.add_argument("--renew", action="store_true", help="Set the key that is there aside, and make a new one.")
        how.add_argument("--register", action="store_true", help="Make none: put the one that is there on record.")

    def perform(self, *, by: Person, at: datetime, reason: str, options: dict[str, Any]) -> str:
        require(by, "register_signing_certificate")  # asked before a key is set aside that signs well
        folder = Path(settings.KEYS)
        laboratory = Laboratory.objects.get(pk=1).name
        try:
            if options["renew"]:
                set_aside(folder)
            if options["register"]:
                half = read_public(folder / CERTIFICATE_FILE)
            else:
                half = make_key(folder, laboratory=laboratory, at=at, passphrase=settings.KEY_PASSPHRASE)
        except KeyTrouble as trouble:
            raise CommandError(str(trouble)) from trouble
        register_signing_certificate(by=by, at=at, reason=reason, half=half)
        said = [
            f"{folder / CERTIFICATE_FILE}: give it to whoever wants to check certificates.",
            f"SHA-256 {half.sha256}",
        ]
        if not settings.KEY_PASSPHRASE:
            said.append("The private key is not encrypted: its folder must be closed to everybody else, and backed up.")
        return "\n".join(said)
