"""Log a delivery from a CSV file."""

from argparse import ArgumentParser
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from labresults.actions.delivery import AcceptedConcern, receive_samples
from labresults.management.acting import ActingCommand, one, rows_of
from labresults.models import Client, Method, Person
from labresults.queries.request_review import review
from labresults.readers.delivery import DeliveredSample
from labresults.terms import Basis

COLUMNS = {
    "identification": "client_identification",
    "matrix": "matrix",
    "g": "delivered_g",
    "mL": "delivered_mL",
    "kg/L": "density",
    "note": "note",
    "sampled": "sampled",
    "basis": "basis",
    "limits": "limits",
    "field filtered": "field_filtered",
    "preservation": "preservation",
}
"""Headings of the file, and what of a delivered sample they say."""


class Command(ActingCommand):
    help = (
        "Log a delivery: a CSV file with the columns identification and matrix. Also read: g, mL, kg/L, note, sampled, "
        "methods (parted by spaces), basis, limits, hazards (parted by semicolons), field filtered, preservation."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("file")
        parser.add_argument("--client", required=True, help="The client's code.")
        parser.add_argument("--method", action="append", default=[], dest="methods", help="Code; may be repeated.")
        parser.add_argument("--reference", default="")
        parser.add_argument("--basis", choices=[basis.value for basis in Basis], default=Basis.AS_RECEIVED.value)
        parser.add_argument(
            "--accept", default="", help="Why everything that the review of the request finds may stand."
        )
        parser.add_argument("--tell-client", action="store_true", help="The certificate says what was accepted.")

    def perform(self, *, by: Person, at: datetime, reason: str, options: dict[str, Any]) -> str:
        rows = [_row(number, row) for number, row in enumerate(rows_of(options["file"]), start=1)]
        client = one(Client, code=options["client"])
        methods = [one(Method, code=code) for code in options["methods"]]
        found = review(rows, methods=methods, at=at) if options["accept"] else ()
        submission = receive_samples(
            by=by,
            at=at,
            reason=reason,
            client=client,
            rows=rows,
            methods=methods,
            reference=options["reference"],
            basis=Basis(options["basis"]),
            concerns=[AcceptedConcern(concern.key, options["accept"], options["tell_client"]) for concern in found],
        )
        return f"{submission.number}: {submission.samples.count()} samples."


def _row(number: int, row: Mapping[str, str | None]) -> DeliveredSample:
    said = {name: row.get(heading) or "" for heading, name in COLUMNS.items()}
    hazards = tuple(part.strip() for part in (row.get("hazards") or "").split(";") if part.strip())
    return DeliveredSample(row=number, methods=tuple((row.get("methods") or "").split()), hazards=hazards, **said)
