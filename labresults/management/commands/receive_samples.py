"""Log a delivery from a CSV file."""

from argparse import ArgumentParser
from datetime import datetime
from typing import Any

from labresults.actions.samples import receive_samples
from labresults.management.acting import ActingCommand, one, rows_of
from labresults.models import Client, Method, Person
from labresults.readers.delivery import DeliveredSample
from labresults.terms import Basis


class Command(ActingCommand):
    help = "Log a delivery: a CSV file with the columns identification and matrix (also: g, mL, note, methods)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("file")
        parser.add_argument("--client", required=True, help="The client's code.")
        parser.add_argument("--method", action="append", default=[], dest="methods", help="Code; may be repeated.")
        parser.add_argument("--reference", default="")
        parser.add_argument("--basis", choices=[basis.value for basis in Basis], default=Basis.AS_RECEIVED.value)

    def perform(self, *, by: Person, at: datetime, reason: str, options: dict[str, Any]) -> str:
        rows = [
            DeliveredSample(
                row=number,
                client_identification=row.get("identification") or "",
                matrix=row.get("matrix") or "",
                delivered_g=row.get("g") or "",
                delivered_mL=row.get("mL") or "",
                note=row.get("note") or "",
                methods=tuple((row.get("methods") or "").split()),
            )
            for number, row in enumerate(rows_of(options["file"]), start=1)
        ]
        submission = receive_samples(
            by=by,
            at=at,
            reason=reason,
            client=one(Client, code=options["client"]),
            rows=rows,
            methods=[one(Method, code=code) for code in options["methods"]],
            reference=options["reference"],
            basis=Basis(options["basis"]),
        )
        return f"{submission.number}: {submission.samples.count()} samples."
