"""Check every issued certificate, and every row that it stands on."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from reports.models import Certificate
from reports.queries.integrity import issued_without_evidence, problems


class Command(BaseCommand):
    help = (
        "Check every frozen document and issued file against its SHA-256 and the audit trail, and every row that a"
        " certificate stands on against what it was when the certificate was issued."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        wrong = list(problems())
        if wrong:
            raise CommandError("\n".join(wrong))
        older = issued_without_evidence()
        less = f" {older} of them were issued before evidence was kept: their rows are not compared." if older else ""
        self.stdout.write(f"{Certificate.objects.count()} certificates: each as issued.{less}")
