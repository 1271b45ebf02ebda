"""Check every issued certificate against its SHA-256."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from reports.models import Certificate
from reports.queries.files import damaged


class Command(BaseCommand):
    help = "Check every frozen document and every issued file against the SHA-256 recorded when it was issued."

    def handle(self, *args: Any, **options: Any) -> None:
        wrong = list(damaged())
        if wrong:
            raise CommandError("\n".join(wrong))
        self.stdout.write(f"{Certificate.objects.count()} certificates: each as issued.")
