"""The lots that a result stands on, with what they were made from, and what else stands on the same things."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Count, Exists, OuterRef, Q, Subquery, Value
from django.db.models.expressions import RawSQL
from django.utils import timezone

from labresults.models import Lot, Position, PreparationBatch, TestPortion
from labresults.queries.run_tables import LoadedRun


@dataclass(frozen=True)
class StandsOn:
    """What else stands on one of these: how many runs, portions and samples; of a lot, runs only."""

    kind: str
    name: str
    runs: int
    portions: int
    samples: int


def lots_of(standards: Sequence[Position], portion: TestPortion | None) -> tuple[list[Lot], list[Lot]]:
    """The lots of a curve with all that they were made from, and the reagents of a batch; one query.

    Each has `run_count`, in how many runs it stood itself; 0 for what lots of the curve were made from.
    """
    on_curve = {position.lot_id for position in standards} - {None}
    through = PreparationBatch.reagents.through.objects.filter(preparationbatch=portion.batch_id if portion else None)
    older = RawSQL(_OLDER.format(", ".join(["%s"] * len(on_curve)) or "NULL"), sorted(on_curve))
    rows = list(
        Lot.objects.annotate(
            is_reagent=Exists(through.filter(lot=OuterRef("pk"))), run_count=Count("positions__run", distinct=True)
        )
        .filter(Q(pk__in=older) | Q(pk__in=through.values("lot")))
        .select_related("material", "made_by")
        .order_by("number")
    )
    found, parents = {lot.pk: lot for lot in rows}, set(on_curve)
    of_curve = set(on_curve)
    while parents := {found[key].made_from_id for key in parents} - {None} - of_curve:
        of_curve |= parents
    for lot in rows:
        lot.run_count = lot.run_count if lot.pk in on_curve or lot.is_reagent else 0
    return [lot for lot in rows if lot.pk in of_curve], [lot for lot in rows if lot.is_reagent]


_OLDER = """WITH RECURSIVE older(id, made_from_id) AS (
    SELECT id, made_from_id FROM labresults_lot WHERE id IN ({})
    UNION SELECT lot.id, lot.made_from_id FROM labresults_lot lot JOIN older ON lot.id = older.made_from_id
) SELECT id FROM older"""
"""Keys of some lots and of everything that they were made from, however many generations back. A lot that is there
already is not followed again, so that it ends."""


def weighed_beside(balance: OuterRef, moment: datetime) -> dict[str, Subquery]:
    """What else was weighed on a balance on the day of a moment: how many runs, portions, samples; part of a query."""
    first = timezone.localtime(moment).replace(hour=0, minute=0, second=0, microsecond=0)
    day = (first, first + timedelta(days=1, microseconds=-1))  # an index finds a range, not the day of each row
    rows = Position.objects.filter(portion__weighings__balance=balance, portion__weighings__observed_at__range=day)
    rows = rows.order_by().values(one=Value(1))
    paths = {"runs": "run", "portions": "portion", "samples": "portion__subsample__sample"}
    return {
        f"{name}_beside": Subquery(rows.annotate(n=Count(path, distinct=True)).values("n"))
        for name, path in paths.items()
    }


def stands_on(loaded: LoadedRun, weighing: Any, lots: Sequence[Lot]) -> list[StandsOn]:
    """The balance on that day (`weighed_beside`), the lots of the curve, and the run itself; no query."""
    found = []
    if weighing and weighing.balance:
        counts = (weighing.runs_beside or 0, weighing.portions_beside or 0, weighing.samples_beside or 0)
        found.append(StandsOn("balance that day", weighing.balance.code, *counts))
    found += [StandsOn("lot", lot.number, lot.run_count, 0, 0) for lot in lots if getattr(lot, "run_count", 0)]
    run = next(iter(loaded.positions.values())).run
    portions = {position.portion_id for position in loaded.positions.values()} - {None}
    samples = set(loaded.sample_ids.values()) - {None}
    return [*found, StandsOn("run", run.number, 1, len(portions), len(samples))]
