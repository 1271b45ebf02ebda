"""Put samples into a preparation batch."""

from argparse import ArgumentParser
from datetime import datetime
from secrets import randbelow
from typing import Any

from labresults.actions.batches import begin_batch
from labresults.management.acting import ActingCommand, one
from labresults.models import Lot, Person, Sample
from labresults.queries.methods import current_versions
from labresults.terms import Repeat


class Command(ActingCommand):
    help = "Begin a preparation batch with the control samples that the method asks for."

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("method")
        parser.add_argument("samples", nargs="+", help="Laboratory numbers.")
        parser.add_argument("--reagent", action="append", default=[], dest="reagents", help="Lot; may be repeated.")
        parser.add_argument("--caution-read", action="store_true", help="The caution of the method was read.")
        parser.add_argument("--seed", type=int, help="Where control samples stand at random; drawn when not given.")
        parser.add_argument("--repeat", choices=[word.value for word in Repeat], default=Repeat.NONE.value)

    def perform(self, *, by: Person, at: datetime, reason: str, options: dict[str, Any]) -> str:
        versions = current_versions(at.date())
        if options["method"] not in versions:
            return f"No version of {options['method']} is valid on {at.date()}."
        batch = begin_batch(
            by=by,
            at=at,
            reason=reason,
            method_version=versions[options["method"]],
            samples=[one(Sample, number=number) for number in options["samples"]],
            reagents=[one(Lot, number=number) for number in options["reagents"]],
            caution_read=options["caution_read"],
            repeat=Repeat(options["repeat"]),
            seed=options["seed"] if options["seed"] is not None else randbelow(2**53),
        )
        tubes = batch.portions.order_by("tube").values_list("tube", "label", "role")
        return "\n".join([batch.number, *(f"{tube:3d}  {label:20s} {role}" for tube, label, role in tubes)])
