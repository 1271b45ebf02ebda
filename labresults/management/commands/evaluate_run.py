"""Evaluate a run."""

from argparse import ArgumentParser
from datetime import datetime
from typing import Any

from labresults.actions.evaluation import evaluate_run
from labresults.management.acting import ActingCommand, one
from labresults.models import Person, Run
from labresults.terms import Verdict


class Command(ActingCommand):
    help = "Evaluate a run; prints what failed first."

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("run")

    def perform(self, *, by: Person, at: datetime, reason: str, options: dict[str, Any]) -> str:
        evaluation = evaluate_run(by=by, at=at, reason=reason, run=one(Run, number=options["run"]))
        failed = evaluation.outcomes.filter(verdict=Verdict.OUTSIDE).select_related("position", "line")
        lines = [
            f"  {outcome.position.number:3d} {outcome.position.label}, {outcome.line}: {outcome.why}"
            f" It touches {len(outcome.touches)} results."
            for outcome in failed.order_by("position__number")
        ]
        heading = f"Evaluation {evaluation.version} of {options['run']}: {evaluation.results.count()} results, "
        return "\n".join([heading + f"{len(lines)} control samples outside.", *lines])
