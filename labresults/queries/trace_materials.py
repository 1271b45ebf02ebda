"""The lots that a result stands on, with what they were made from, and what else stands on the same things."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Count, Exists, OuterRef, Q, Subquery, Value
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
    """The lots of a curve with what they were made from, and the reagents of a batch; each with its number of runs.

    One query, and one more for each generation beyond the fourth.
    """
    on_curve = {position.lot_id for position in standards}
    through = PreparationBatch.reagents.through.objects.filter(preparationbatch=portion.batch_id if portion else None)
    rows = list(
        Lot.objects.annotate(
            is_reagent=Exists(through.filter(lot=OuterRef("pk"))), run_count=Count("positions__run", distinct=True)
        )
        .filter(Q(pk__in=on_curve - {None}) | Q(pk__in=through.values("lot")))
        .select_related("material", "made_by", *_OLDER)
        .order_by("number")
    )
    curve = _with_ancestors([lot for lot in rows if lot.pk in on_curve])
    return curve, [lot for lot in rows if lot.is_reagent]


_GENERATIONS = 3
_OLDER = tuple(
    "__".join([*["made_from"] * back, what]) for back in range(1, _GENERATIONS + 1) for what in ("material", "made_by")
)
"""What a lot was made from, with who entered it, so many generations back."""


def _with_ancestors(lots: Sequence[Lot]) -> list[Lot]:
    """The lots and what they were made from; a query for each generation that is not here yet."""
    found = {lot.pk: lot for lot in lots}
    for lot in lots:
        older = lot
        for _ in range(_GENERATIONS):
            if older.made_from is None:
                break
            older = older.made_from
            found.setdefault(older.pk, older)
    generation = list(found.values())
    while parents := {lot.made_from_id for lot in generation if lot.made_from_id} - set(found):
        generation = list(Lot.objects.filter(pk__in=parents).select_related("material", "made_by"))
        found |= {lot.pk: lot for lot in generation}
    return sorted(found.values(), key=lambda lot: lot.number)


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
