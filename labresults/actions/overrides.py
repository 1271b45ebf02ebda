"""Overrides: somebody with the authority lets an expired lot or overdue equipment be used on one day."""

from datetime import datetime

from labresults.acts import BadInput, Done, WrongState, act
from labresults.models import Equipment, Lot, Override, Person
from labresults.queries.materials import is_overdue, overridden
from labresults.terms import OverrideKind


@act("allow_override")
def allow_override(
    *,
    by: Person,
    at: datetime,
    reason: str,
    kind: OverrideKind,
    lot: Lot | None = None,
    equipment: Equipment | None = None,
) -> Done[Override]:
    """Let an expired lot, or equipment that is overdue, be used on the day of the act, with a reason.

    It holds for everybody and for that day only; what is done with it names it on the record. Raises BadInput without
    a reason, or when the kind and what is named do not go together; WrongState when nothing needs to be allowed.
    """
    thing = _named(kind, lot, equipment)
    if not reason.strip():
        raise BadInput(f"Say why {thing} may be used today: a reviewer reads it.")
    _refuse_needless(thing, at)
    row = Override.objects.create(
        kind=kind, lot=lot, equipment=equipment, valid_on=at.date(), reason=reason.strip(), made_by=by, made_at=at
    )
    return Done(
        row,
        subject=("lot" if lot else "equipment", str(thing)),
        after={"allowed on": row.valid_on.isoformat(), "kind": str(kind)},
    )


def _named(kind: OverrideKind, lot: Lot | None, equipment: Equipment | None) -> Lot | Equipment:
    """The one thing that is to be allowed, as its kind says."""
    if kind == OverrideKind.EXPIRED_LOT and lot and not equipment:
        return lot
    if kind == OverrideKind.OVERDUE_EQUIPMENT and equipment and not lot:
        return equipment
    raise BadInput(f"Name what is to be allowed: one lot for “{OverrideKind.EXPIRED_LOT}”, else one equipment.")


def _refuse_needless(thing: Lot | Equipment, at: datetime) -> None:
    day = at.date()
    if isinstance(thing, Lot) and thing.expires_on >= day:
        raise WrongState(f"{thing} has not expired: it may be used until {thing.expires_on.isoformat()}.")
    if isinstance(thing, Equipment) and not is_overdue(thing, day):
        raise WrongState(f"{thing} is not overdue: it may be used as it is.")
    before = overridden(thing, day)
    if before:
        raise WrongState(f"{thing} is allowed for today already, by {before.made_by}: {before.reason}")
