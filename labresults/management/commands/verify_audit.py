"""Walk the audit chain and name the first event that does not fit."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from labresults.queries.history import broken_link, head


class Command(BaseCommand):
    help = "Walk the audit chain; name the first event that was changed, removed, put elsewhere or slipped in."

    def handle(self, *args: Any, **options: Any) -> None:
        found = broken_link()
        if found:
            raise CommandError(f"The audit chain breaks at event {found.seq}: {found.what}.")
        count, sha256 = head()
        self.stdout.write(f"The audit chain holds: {count} events, head {sha256 or 'none yet'}.")
