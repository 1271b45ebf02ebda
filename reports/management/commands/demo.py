"""The main job on invented data, then the site on loopback."""

import socket
from argparse import ArgumentParser
from datetime import timedelta
from pathlib import Path
from time import perf_counter
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from labresults.models import AuditEvent, Laboratory
from labresults.queries.history import broken_link
from reports.demo.data import ending_on, read
from reports.demo.story import sign_ins, tell
from reports.models import Certificate, CertificateFile
from reports.queries.files import write_files
from reports.render.printing import PangoMissing, require_pango


class Command(BaseCommand):
    help = "Run the main job on the invented demonstration laboratory, then serve the site on loopback."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--no-serve", action="store_true", help="Do not serve the site afterwards: for scripts.")
        parser.add_argument("--port", type=int, default=8000, help="Port on loopback; the next free one is taken.")

    def handle(self, *args: Any, **options: Any) -> None:
        begun = perf_counter()
        try:
            require_pango()
        except PangoMissing as missing:
            raise CommandError(str(missing)) from missing
        call_command("migrate", verbosity=0)
        if AuditEvent.objects.exists():
            self._refuse_what_is_not_ours()
            self.stdout.write("The demonstration is there already; nothing was changed.")
        else:
            if not settings.ADDRESS:  # where the demonstration will be served, for the codes on its certificate
                settings.ADDRESS = f"http://127.0.0.1:{options['port']}"
            today = (timezone.now() - timedelta(hours=12)).date()  # the story's last morning lies behind us
            with ending_on(today - timedelta(days=today.weekday())):
                tell(self.stdout.write)
        self._show()
        self.stdout.write(f"Done in {perf_counter() - begun:.0f} s.")
        if not options["no_serve"]:
            self._serve(options["port"])

    @staticmethod
    def _refuse_what_is_not_ours() -> None:
        found = Laboratory.objects.first()
        if found is None or not found.invented:
            raise CommandError(
                "This database holds a laboratory that is not the demonstration. Set DATABASE_URL to another one."
            )
        if not CertificateFile.objects.exists():
            raise CommandError(
                f"The demonstration was interrupted before its end. Remove {settings.DATABASES['default']['NAME']} and "
                "call again."
            )

    def _show(self) -> None:
        folder = Path(settings.VAR) / "certificates"
        for certificate in Certificate.objects.order_by("number", "issue"):
            for path in write_files(certificate, folder):
                self.stdout.write(f"{certificate}: {path}")
        broken = broken_link()
        if broken:
            raise CommandError(f"The audit chain breaks at event {broken.seq}: {broken.what}.")
        self.stdout.write(f"The audit chain holds: {AuditEvent.objects.count()} events.")
        password = read("laboratory")["sign_in"]["password"]
        self.stdout.write(f"All data is invented. These people can sign in, all with the password “{password}”:")
        for person in sign_ins():
            self.stdout.write(f"  {person.sign_in:12s} {person.full_name:20s} {', '.join(person.roles)}")

    def _serve(self, port: int) -> None:
        port = next(candidate for candidate in range(port, port + 100) if _is_free(candidate))
        self.stdout.write(f"\nOpen http://127.0.0.1:{port}/ (stop with Ctrl-C)")
        call_command("runserver", f"127.0.0.1:{port}", "--noreload", "--nostatic", "--skip-checks")


def _is_free(port: int) -> bool:
    with socket.socket() as door:
        return door.connect_ex(("127.0.0.1", port)) != 0
