"""Plan a run of everything that is weighed in some batches, and of what is asked for again."""

from argparse import ArgumentParser
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.core.management import CommandError

from labresults.actions.runs import plan_run
from labresults.management.acting import ActingCommand, one
from labresults.models import Equipment, MethodVersion, Person, PreparationBatch, Run, TestPortion
from labresults.queries.run_order import Plan, run_list_of
from labresults.queries.run_planning import Wanted, version_for, wanted_again


class Command(ActingCommand):
    help = "Plan a run of the portions of batches; prints the run's number, and the rules that its list breaks."

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("batches", nargs="*")
        parser.add_argument("--instrument", required=True)
        parser.add_argument("--again", metavar="METHOD", help="Also what waits to be measured again by a method.")
        parser.add_argument("--replaces", metavar="RUN", help="A run that nothing was read of, to be planned anew.")
        parser.add_argument("--preview", action="store_true", help="Print the list and plan nothing.")

    def perform(self, *, by: Person, at: datetime, reason: str, options: dict[str, Any]) -> str:
        batches = [one(PreparationBatch, number=number) for number in options["batches"]]
        again = wanted_again(options["again"]) if options.get("again") else {}
        plan = Plan(
            version=_version(batches, options.get("again"), at),
            portions=_portions(batches, again),
            instrument=one(Equipment, code=options["instrument"]),
            dilutions={key: asked.factor for key, asked in again.items() if asked.factor != 1.0},
            causes={key: asked.cause for key, asked in again.items()},
            kinds={key: asked.kind for key, asked in again.items()},
            beside={key: asked.beside for key, asked in again.items()},
            replaces=one(Run, number=options["replaces"]) if options.get("replaces") else None,
        )
        if options.get("preview"):
            return _previewed(plan, at)
        run = plan_run(
            by=by,
            at=at,
            reason=reason,
            method_version=plan.version,
            portions=plan.portions,
            instrument=plan.instrument,
            dilutions=plan.dilutions,
            causes=plan.causes,
            kinds=plan.kinds,
            beside=plan.beside,
            replaces=plan.replaces,
        )
        return f"{run.number}: {run.positions.count()} positions."


def _version(batches: Sequence[PreparationBatch], code: str | None, at: datetime) -> MethodVersion:
    if batches:
        return batches[0].method_version
    if not code:
        raise CommandError("Name a batch, or a method with --again.")
    try:
        return version_for(code, at.date())
    except MethodVersion.DoesNotExist as error:
        raise CommandError(str(error)) from error


def _portions(batches: Sequence[PreparationBatch], again: dict[int, Wanted]) -> list[TestPortion]:
    """What is asked for again, then the batches as they stand; each portion once."""
    rows = TestPortion.objects.select_related("batch__method_version", "lot__material")
    asked = list(rows.filter(pk__in=again).order_by("batch_id", "tube"))
    whole = [portion for batch in batches for portion in rows.filter(batch=batch, discarded=None).order_by("tube")]
    return list({portion.pk: portion for portion in (*asked, *whole)}.values())


def _previewed(plan: Plan, at: datetime) -> str:
    """The list, a line a position, and every rule that it breaks."""
    run_list = run_list_of(plan, at)
    lines = [f"{place.number:>4}  {place.label}  {place.role}" for place in run_list.places]
    broken = [f"Broken: {rule}" for rule in run_list.broken] or ["No rule of the method is broken."]
    return "\n".join([*lines, *broken])
