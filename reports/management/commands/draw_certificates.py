"""Draw what is frozen and not drawn yet."""

import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import close_old_connections
from django.utils import timezone

from reports.issuing import draw_waiting


class Command(BaseCommand):
    help = (
        "Draw every certificate that is frozen and not drawn yet, make it public and tell its client, each by whoever"
        " issued it. With --watch it goes on until it is stopped: set LABRESULTS_DRAWING=command for the site then."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--watch", action="store_true", help="Go on looking for more.")
        parser.add_argument("--every", type=float, default=2.0, help="Seconds between two looks.")

    def handle(self, *args: Any, **options: Any) -> None:
        wrong = self._draw(but_failed=False)
        while options["watch"]:
            time.sleep(options["every"])
            close_old_connections()
            self._draw(but_failed=True)
        if wrong:
            raise CommandError("\n".join(wrong))

    def _draw(self, *, but_failed: bool) -> list[str]:
        wrong = []
        for certificate, trouble in draw_waiting(timezone.now, but_failed=but_failed):
            self.stdout.write(f"{certificate}: {trouble or 'drawn'}")
            if trouble:
                wrong.append(f"{certificate}: {trouble}")
        return wrong
