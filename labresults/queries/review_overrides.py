"""What was let be used by name, although it had expired or was overdue, for what a reviewer is about to sign."""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import UTC
from typing import Any

from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.db.models.functions import TruncDate

from labresults.models import (
    FireCharge,
    MassLoss,
    Override,
    Person,
    PreparationBatch,
    Result,
    Run,
    Submission,
    Weighing,
)


def overrides_behind(submission: Submission) -> list[Override]:
    """Overrides that preparation and runs of the samples of a submission stood on, the oldest first; one query.

    Equipment, and lots in crucibles and runs: on the day of their use, before it. Lots of the batches' reagents,
    control samples and spikes: let be used on the day of the batch or later. Days are those of UTC, as acts count them.
    """
    used = _used(
        PreparationBatch.objects.filter(portions__subsample__sample__submission=submission),
        MassLoss.objects.filter(subsample__sample__submission=submission),
        Run.objects.filter(positions__portion__subsample__sample__submission=submission),
    )
    return list(used)


def overrides_of(rows: Collection[Result]) -> "QuerySet[Override]":
    """Overrides that these results stood on, as `overrides_behind`; one query. rows: with position and portion."""
    batches = {row.position.portion.batch_id for row in rows if row.position.portion_id}
    return _used(
        PreparationBatch.objects.filter(pk__in=batches),
        MassLoss.objects.filter(subsample__sample__in={row.sample_id for row in rows}),
        Run.objects.filter(pk__in={row.evaluation.run_id for row in rows}),
    )


@dataclass(frozen=True)
class StoodOn:
    """What was done on overrides: each way a query of its own, joined by nothing."""

    batches: "tuple[QuerySet[Any], ...]"
    portions: "tuple[QuerySet[Any], ...]"  # weighings and crucibles
    dried: "tuple[QuerySet[Any], ...]"
    runs: "tuple[QuerySet[Any], ...]"


def stood_on_overrides(by: Person, during: Callable[[str], Q]) -> StoodOn:
    """What stood on what somebody allowed, by the same days as `overrides_behind`; no query.

    during: given the field of the override's clock, the period that counts.
    """

    def on(model: Any, *things: str, day: str = "valid_on") -> "tuple[QuerySet[Any], ...]":
        dated = model.objects.annotate(day=_DAY)
        return tuple(
            dated.filter(
                during(f"{thing}__overrides__made_at"),
                **{f"{thing}__overrides__made_by": by, f"{thing}__overrides__{day}": F("day")},
            )
            for thing in things
        )

    return StoodOn(
        batches=on(PreparationBatch, "reagents", "portions__lot", day="valid_on__gte"),
        portions=(*on(Weighing, "balance", "spike_lot"), *on(FireCharge, "flux_lot", "collector_lot")),
        dried=on(MassLoss, "balance", "oven"),
        runs=on(Run, "instrument", "positions__lot", "positions__added_lot"),
    )


def _used(
    batches: "QuerySet[PreparationBatch]", dried: "QuerySet[MassLoss]", runs: "QuerySet[Run]"
) -> "QuerySet[Override]":
    weighed = _on_the_day(Weighing.objects.filter(portion__batch__in=batches))
    fired = _on_the_day(FireCharge.objects.filter(portion__batch__in=batches))
    dried, planned = _on_the_day(dried), _on_the_day(runs)
    since = batches.annotate(day=_DAY).filter(day__lte=OuterRef("valid_on"))
    lot, equipment = OuterRef("lot"), OuterRef("equipment")
    used = (
        Exists(weighed.filter(balance=equipment))
        | Exists(dried.filter(Q(balance=equipment) | Q(oven=equipment)))
        | Exists(since.filter(reagents=lot))
        | Exists(since.filter(portions__lot=lot))
        | Exists(weighed.filter(spike_lot=lot))
        | Exists(fired.filter(Q(flux_lot=lot) | Q(collector_lot=lot)))
        | Exists(planned.filter(instrument=equipment))
        | Exists(planned.filter(Q(positions__lot=lot) | Q(positions__added_lot=lot)))
    )
    return Override.objects.filter(used).select_related("lot__material", "equipment", "made_by").order_by("pk")


_DAY = TruncDate("made_at", tzinfo=UTC)


def _on_the_day(rows: "QuerySet[Any]") -> "QuerySet[Any]":
    """Those that were made on the day for which the override of the outer query holds, and after it."""
    return rows.annotate(day=_DAY).filter(day=OuterRef("valid_on"), made_at__gte=OuterRef("made_at"))
