"""Issue a certificate, draw it, and write its files into a folder."""

from argparse import ArgumentParser
from datetime import datetime
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError

from labresults.management.acting import ActingCommand, one
from labresults.models import Person, Submission
from reports.actions.certificates import issue_certificate, publish_certificate
from reports.issuing import tell
from reports.models import RuleSetVersion
from reports.queries.files import write_files


class Command(ActingCommand):
    help = "Issue the certificate of a submission, draw it, tell its client, and write its files into a folder."

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("submission")
        parser.add_argument("--rules", required=True, help="Name of a rule set; its newest version is used.")
        parser.add_argument("--preliminary", action="store_true")
        parser.add_argument(
            "--with", dest="further", action="append", default=[], metavar="SUBMISSION",
            help="Another submission of the client on the same certificate; may be given more than once.",
        )  # fmt: skip
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
            further=[one(Submission, number=number) for number in options["further"]],
        )
        publish_certificate(by=by, at=at, reason=reason, certificate=certificate)
        trouble = tell(certificate, by, lambda: at)
        written = map(str, write_files(certificate, Path(options["to"])))
        return "\n".join([str(certificate), *written, *filter(None, [trouble])])
