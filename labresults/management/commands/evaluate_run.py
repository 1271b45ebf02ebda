"""Evaluate a run."""

from argparse import ArgumentParser
from datetime import datetime
from typing import Any

from labresults.actions.evaluation import evaluate_run
from labresults.management.acting import ActingCommand, one
from labresults.management.saying import evaluation_said
from labresults.models import Person, Run


class Command(ActingCommand):
    help = "Evaluate a run; prints what failed first."

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("run")

    def perform(self, *, by: Person, at: datetime, reason: str, options: dict[str, Any]) -> str:
        return evaluation_said(evaluate_run(by=by, at=at, reason=reason, run=one(Run, number=options["run"])))
