"""Check every attached photograph and document against its SHA-256."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from labresults.models import StoredFile
from labresults.queries.attachments import damaged


class Command(BaseCommand):
    help = "Check every attached file against the SHA-256 recorded when it was attached."

    def handle(self, *args: Any, **options: Any) -> None:
        wrong = list(damaged())
        if wrong:
            raise CommandError("\n".join(wrong))
        self.stdout.write(f"{StoredFile.objects.count()} attached files: each as it was attached.")
