"""Approve what waits for review in a submission."""

from argparse import ArgumentParser
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.core.management.base import CommandError

from labresults.actions.review import approve_results
from labresults.management.acting import ActingCommand, one, password_of
from labresults.models import Person, Result, Submission
from labresults.queries.results import waiting_for_review


class Command(ActingCommand):
    help = (
        "Approve every selected result of a submission that is not decided yet; signed with the password. Nothing that"
        " asks for a look is approved in bulk: name each that you have looked at."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("submission")
        parser.add_argument("--code", default="", help="The six digits of your second factor, where it is on.")
        parser.add_argument(
            "--looked-at",
            action="append",
            default=[],
            metavar="SAMPLE:ELEMENT",
            help="Accepted one by one; repeatable.",
        )

    def perform(self, *, by: Person, at: datetime, reason: str, options: dict[str, Any]) -> str:
        waiting = waiting_for_review(one(Submission, number=options["submission"]))
        looked_at = _named(options["looked_at"], waiting)
        review = approve_results(
            by=by, at=at, reason=reason, results=waiting, looked_at=looked_at, password=password_of(by),
            code=options["code"],
        )  # fmt: skip
        return f"{review.items.count()} results approved by {by}."


def _named(named: Sequence[str], waiting: Sequence[int]) -> list[int]:
    """Keys of the results that are named by sample and element. Raises CommandError for one that does not wait."""
    rows = Result.objects.filter(pk__in=waiting).values_list("pk", "sample__number", "element")
    known: dict[str, list[int]] = {}
    for pk, sample, element in rows if named else ():
        known.setdefault(f"{sample}:{element}", []).append(pk)
    missing = [name for name in named if name not in known]
    if missing:
        raise CommandError(f"No result {', '.join(missing)} waits here. Write KF26-00012:Cu.")
    return [pk for name in named for pk in known[name]]
