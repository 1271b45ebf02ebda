"""Approve what waits for review in a submission."""

from argparse import ArgumentParser
from datetime import datetime
from typing import Any

from labresults.actions.review import approve_results
from labresults.management.acting import ActingCommand, one, password_of
from labresults.models import Person, Submission
from labresults.queries.results import waiting_for_review


class Command(ActingCommand):
    help = "Approve every selected result of a submission that is not decided yet; signed with the password."

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("submission")

    def perform(self, *, by: Person, at: datetime, reason: str, options: dict[str, Any]) -> str:
        waiting = waiting_for_review(one(Submission, number=options["submission"]))
        review = approve_results(by=by, at=at, reason=reason, results=waiting, password=password_of(by))
        return f"{review.items.count()} results approved by {by}."
