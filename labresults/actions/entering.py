"""Part of the acts that log samples: numbers, containers and first holders, in bulk. Under the writer's lock."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from zoneinfo import ZoneInfo

from labresults import bulk
from labresults.actions.numbering import next_sample_numbers
from labresults.models import CustodyEntry, Matrix, Person, Sample, Submission, Subsample
from labresults.queries.people import site_time_zone
from labresults.readers.delivery import DeliveredSample, moment, quantity, yes_or_no
from labresults.terms import Custody, SubsampleKind

SAMPLE_COLUMNS = (
    "number", "submission", "ordinal", "client_identification", "matrix", "delivered_g", "delivered_mL",
    "density_kg_per_L", "sampled_at", "note", "hazards", "field_filtered", "preservation", "acidified_at",
)  # fmt: skip
CONTAINER_COLUMNS = ("sample", "kind", "mass_g", "storage", "made_by", "made_at")
CUSTODY_COLUMNS = ("sample", "held_by", "place", "since", "what", "taken_by", "reason", "made_by", "made_at")


@dataclass(frozen=True)
class Entered:
    """A row that became a sample."""

    pk: int
    number: str
    row: DeliveredSample


def enter_samples(
    submission: Submission,
    rows: Sequence[DeliveredSample],
    *,
    by: Person,
    at: datetime,
    place: str,
    since: datetime,
    first: int = 1,
    acidified: bool = False,
) -> list[Entered]:
    """Rows that were checked, as samples with laboratory numbers in their order, each with a container and a holder.

    first: the place of the first row in the submission. since: from when `by` has them. acidified: the waters among
    them were acidified here, then. Eight queries.
    """
    zone = ZoneInfo(site_time_zone())
    matrices = {matrix.name: matrix for matrix in Matrix.objects.all()}
    numbers = next_sample_numbers(len(rows), at)
    bulk.insert(
        Sample,
        SAMPLE_COLUMNS,
        (
            (number, submission.pk, ordinal, *_of_row(row, matrices[row.matrix], zone, since if acidified else None))
            for ordinal, (number, row) in enumerate(zip(numbers, rows, strict=True), start=first)
        ),
    )
    keys = dict(submission.samples.filter(ordinal__gte=first).values_list("number", "pk"))
    entered = [Entered(keys[number], number, row) for number, row in zip(numbers, rows, strict=True)]
    container = SubsampleKind.CONTAINER.value
    bulk.insert(
        Subsample,
        CONTAINER_COLUMNS,
        ((one.pk, container, quantity(one.row.delivered_g), "", by.pk, at) for one in entered),
    )
    received = Custody.RECEIVED.value
    bulk.insert(
        CustodyEntry,
        CUSTODY_COLUMNS,
        ((one.pk, by.pk, place, since, received, "", "", by.pk, at) for one in entered),
    )
    return entered


def _of_row(row: DeliveredSample, matrix: Matrix, zone: tzinfo, acidified_at: datetime | None) -> tuple[object, ...]:
    """What a row says of its sample, in the order of `SAMPLE_COLUMNS` from the identification on."""
    return (
        row.client_identification,
        matrix.pk,
        quantity(row.delivered_g),
        quantity(row.delivered_mL),
        quantity(row.density),
        moment(row.sampled, zone),
        row.note,
        list(row.hazards),
        yes_or_no(row.field_filtered),
        row.preservation,
        acidified_at if matrix.is_water else None,
    )
