"""What may not be used today, and who let it be used all the same. Each function says its database queries."""

from dataclasses import dataclass
from datetime import date

from labresults.models import Equipment, EquipmentCheck, Lot, Override
from labresults.queries.materials import is_overdue, newest_check, overridden, who_may_override
from labresults.terms import OverrideKind


@dataclass(frozen=True)
class Stopped:
    """A lot or a piece of equipment on a day: whether it is stopped, why, and the override that stands if any."""

    kind: OverrideKind
    lot: Lot | None
    equipment: Equipment | None
    is_stopped: bool
    why: str
    standing: Override | None
    who_may: str

    @property
    def named(self) -> str:
        """Its number or code."""
        return str(self.lot or self.equipment)

    @property
    def title(self) -> str:
        """What it is, in words."""
        return self.lot.material.name if self.lot else (self.equipment.name if self.equipment else "")


def stopped(named: str, on: date) -> Stopped | None:
    """A lot by its number, or equipment by its code, as it stands on a day; None where there is neither.

    At most four queries.
    """
    lot = Lot.objects.filter(number__iexact=named).select_related("material").first()
    if lot:
        return _lot(lot, on)
    item = Equipment.objects.filter(code__iexact=named).first()
    return _equipment(item, on) if item else None


def _lot(lot: Lot, on: date) -> Stopped:
    has_expired = lot.expires_on < on
    why = f"expired on {lot.expires_on.isoformat()}" if has_expired else f"holds until {lot.expires_on.isoformat()}"
    return Stopped(OverrideKind.EXPIRED_LOT, lot, None, has_expired, why, overridden(lot, on), who_may_override())


def _equipment(item: Equipment, on: date) -> Stopped:
    overdue = is_overdue(item, on)
    return Stopped(
        kind=OverrideKind.OVERDUE_EQUIPMENT,
        lot=None,
        equipment=item,
        is_stopped=overdue,
        why=_check_in_words(newest_check(item, on), on),
        standing=overridden(item, on),
        who_may=who_may_override(),
    )


def _check_in_words(check: EquipmentCheck | None, on: date) -> str:
    if check is None:
        return "has no check"
    if not check.passed:
        return f"failed its check on {check.done_on.isoformat()}"
    if check.due_on < on:
        return f"was due for its next check on {check.due_on.isoformat()}"
    return f"was checked on {check.done_on.isoformat()}; the next check is due on {check.due_on.isoformat()}"
