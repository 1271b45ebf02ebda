"""Fire assay, read. Each function says how many database queries it makes."""

from collections.abc import Iterable

from django.db.models import QuerySet

from labresults.models import FireCharge, Lot, PreparationBatch, TestPortion
from labresults.terms import MaterialKind

SILVER_ADDED = (
    "Silver was added to this charge as collector: its bead says nothing of the sample's own. Use a method without it."
)
"""Why a bead that silver was added to has no silver result."""


def charges_of(batch: PreparationBatch) -> dict[int, FireCharge]:
    """The newest record of each crucible of a batch, by the key of its portion; one query."""
    rows = FireCharge.objects.filter(portion__batch=batch).select_related("flux_lot", "collector_lot", "made_by")
    return {row.portion_id: row for row in rows.order_by("version")}


def with_silver_added(portion_ids: Iterable[int], until: object) -> set[int]:
    """Keys of portions whose newest crucible, as recorded until a moment, had collector silver added; one query."""
    rows = FireCharge.objects.filter(portion__in=set(portion_ids), made_at__lte=until)
    newest = {row["portion"]: row["collector_mg"] for row in rows.order_by("version").values("portion", "collector_mg")}
    return {portion for portion, silver in newest.items() if silver}


def lots_for_fire() -> QuerySet[Lot]:
    """Lots of reagents and standards, by material: fluxes, collector silver; one query."""
    kinds = [MaterialKind.REAGENT, MaterialKind.STANDARD]
    return Lot.objects.filter(material__kind__in=kinds).select_related("material").order_by("material__name", "number")


def portions_of(batch: PreparationBatch) -> list[TestPortion]:
    """The portions of a batch that were not discarded, by tube; one query."""
    rows = batch.portions.filter(discarded=None).select_related("subsample__sample", "lot__material", "parent")
    return list(rows.order_by("tube"))


def tray_of(batch: PreparationBatch) -> dict[str, object]:
    """Tray and lots as they were recorded last, to begin the next record with; one query."""
    newest = FireCharge.objects.filter(portion__batch=batch).order_by("-pk").first()
    if newest is None:
        return {"tray": batch.number}
    return {"tray": newest.tray, "flux_lot": newest.flux_lot_id, "collector_lot": newest.collector_lot_id}
