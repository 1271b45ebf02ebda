"""Issue a certificate, draw it, and write its files into a folder."""

from argparse import ArgumentParser
from datetime import datetime
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError

from labresults.management.acting import ActingCommand, one
from labresults.models import Person, Submission
from reports.actions.certificates import issue_certificate, publish_certificate
from reports.models import RuleSetVersion
from reports.queries.files import write_files


class Command(ActingCommand):
    help = "Issue the certificate of a submission, draw it, and write its PDF and XLSX into a folder."

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("submission")
        parser.add_argument("--rules", required=True, help="Name of a rule set; its newest version is used.")
        parser.add_argument("--preliminary", action="store_true")
        parser.add_argument("--to", default="var/certificates", help="The folder.")

    def perform(self, *, by: Person, at: datetime, reason: str, options: dict[str, Any]) -> str:
        rules = RuleSetVersion.objects.filter(name=options["rules"]).order_by("-version").first()
        if rules is None:
            raise CommandError(f"There is no rule set {options['rules']}.")
        certificate = issue_certificate(
            by=by,
            at=at,
            reason=reason,
            submission=one(Submission, number=options["submission"]),
            rule_set=rules,
            preliminary=options["preliminary"],
        )
        publish_certificate(by=by, at=at, reason=reason, certificate=certificate)
        return "\n".join([str(certificate), *map(str, write_files(certificate, Path(options["to"])))])
