"""Lots and equipment, read. Each function says how many database queries it makes."""

from datetime import date

from labresults.acts import BadInput
from labresults.models import Equipment, Lot, Material


def current_lot(material: Material, on: date) -> Lot:
    """The lot of a material to use on a day: of those neither expired nor not yet there, the newest; one query.

    Raises BadInput when there is none: work never goes on with an expired lot by itself.
    """
    lot = (
        Lot.objects.filter(material=material, received_on__lte=on, expires_on__gte=on)
        .order_by("-received_on", "-pk")
        .first()
    )
    if lot is None:
        raise BadInput(f"No lot of {material} is valid on {on.isoformat()}: {material.name}. Register one first.")
    return lot


def is_overdue(equipment: Equipment, on: date) -> bool:
    """Whether the newest check failed, is past due, or was never made; one query."""
    newest = equipment.checks.order_by("-done_on", "-pk").first()
    return newest is None or not newest.passed or newest.due_on < on
