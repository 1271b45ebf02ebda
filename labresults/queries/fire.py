"""Fire assay, read. Each function says how many database queries it makes."""

from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import QuerySet

from labresults.calculation.fire_assay import content_of_bead, troy_ounces_per_short_ton
from labresults.models import FireCharge, Lot, PreparationBatch, TestPortion, Weighing
from labresults.terms import MaterialKind

SILVER_ADDED = (
    "Silver was added to this charge as collector: its bead says nothing of the sample's own. Use a method without it."
)
"""Why a bead that silver was added to has no silver result."""


@dataclass(frozen=True)
class BeadByMass:
    """A bead of one metal, weighed: the content of its charge before any plasma reading."""

    label: str
    bead_mg: float
    charge_g: float
    g_per_t: float
    troy_ounces_per_short_ton: float


def charges_of(batch: PreparationBatch) -> dict[int, FireCharge]:
    """The newest record of each crucible of a batch, by the key of its portion; one query."""
    rows = FireCharge.objects.filter(portion__batch=batch).select_related("flux_lot", "collector_lot", "made_by")
    return {row.portion_id: row for row in rows.order_by("version")}


def beads_by_mass(batch: PreparationBatch, charges: Mapping[int, FireCharge]) -> list[BeadByMass]:
    """What each weighed bead says by its mass, by tube; none where silver was added or no charge is weighed; one query.

    charges: as `charges_of` gives them.
    """
    rows = Weighing.objects.filter(portion__in=list(charges), mass_g__isnull=False).select_related("portion")
    weighed = {row.portion_id: row for row in rows.order_by("version")}
    found = []
    for key, weighing in sorted(weighed.items(), key=lambda pair: pair[1].portion.tube):
        bead_mg, charge_g = charges[key].bead_mg, weighing.mass_g
        if bead_mg is None or charge_g is None or charges[key].collector_mg:
            continue
        found.append(
            BeadByMass(
                weighing.portion.label,
                bead_mg,
                charge_g,
                content_of_bead(bead_mg, charge_g),
                troy_ounces_per_short_ton(bead_mg, charge_g),
            )
        )
    return found


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
