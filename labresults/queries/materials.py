"""Lots and equipment, read: what may be used on a day. Each function says how many database queries it makes."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import date

from django.db.models import Case, Exists, OuterRef, Q, Value, When

from labresults.acts import BadInput
from labresults.models import Equipment, EquipmentCheck, Lot, Material, Override
from labresults.roles import ROLES


def who_may_override() -> str:
    """The roles that may let an expired lot or overdue equipment be used, in words; no query."""
    names = sorted(role for role, acts in ROLES.items() if "allow_override" in acts)
    return f"{', '.join(names[:-1])} or {names[-1]}"


def current_lot(material: Material, on: date) -> Lot:
    """The lot of a material to use on a day: of those neither expired nor not yet there, the newest; one query.

    Where all have expired, the newest one that somebody allowed for that day. Raises BadInput when there is none: work
    never goes on with an expired lot by itself.
    """
    lot = current_lots([material.pk], on).get(material.pk)
    if lot is None:
        raise BadInput(f"{no_lot(material, on)}. Register one first.")
    return lot


def current_lots(materials: Collection[int], on: date) -> dict[int, Lot]:
    """By key of each material that has one, its lot to use on a day, as `current_lot` chooses; one query."""
    allowed = Override.objects.filter(lot=OuterRef("pk"), valid_on=on)
    usable = Lot.objects.filter(Q(expires_on__gte=on) | Exists(allowed), material__in=materials, received_on__lte=on)
    best_last = usable.order_by(Case(When(expires_on__gte=on, then=Value(1)), default=Value(0)), "received_on", "pk")
    return {lot.material_id: lot for lot in best_last.select_related("material")}


def no_lot(material: Material, on: date) -> str:
    """In words, that a material has no lot to use on a day; no query."""
    return f"No lot of {material} is valid on {on.isoformat()}: {material.name}"


def made_of(lots: Iterable[Lot]) -> dict[int, frozenset[str]]:
    """By key of each lot, its number and those of the lots that it was made from; one query a generation."""
    known = {lot.pk: (lot.number, lot.made_from_id) for lot in lots}
    asked = set(known)
    while missing := {source for _, source in known.values() if source} - set(known):
        rows = Lot.objects.filter(pk__in=missing).values_list("pk", "number", "made_from_id")
        known |= {pk: (number, source) for pk, number, source in rows}
    return {pk: frozenset(_chain(pk, known)) for pk in asked}


def _chain(pk: int | None, known: Mapping[int, tuple[str, int | None]]) -> Iterator[str]:
    while pk is not None:
        number, pk = known[pk]
        yield number


def newest_check(equipment: Equipment, on: date) -> EquipmentCheck | None:
    """The calibration or check that stands on a day; one query."""
    return equipment.checks.filter(done_on__lte=on).order_by("-done_on", "-pk").first()


def is_overdue(equipment: Equipment, on: date) -> bool:
    """Whether the newest check failed, is past due, or was never made; one query."""
    newest = newest_check(equipment, on)
    return newest is None or not newest.passed or newest.due_on < on


def overridden(thing: Lot | Equipment, on: date) -> Override | None:
    """By whom, and why, an expired lot or overdue equipment may be used on a day, or None; one query."""
    return thing.overrides.filter(valid_on=on).select_related("made_by", "lot", "equipment").order_by("pk").first()


def refuse_expired(lots: Sequence[Lot], on: date) -> list[Override]:
    """Refuse lots that have expired, unless somebody allowed each for this day; at most one query.

    Returns the overrides that they stand on, for the record. Raises BadInput naming each lot that none stands for.
    """
    expired = {lot.pk: lot for lot in lots if lot.expires_on < on}
    if not expired:
        return []
    found = Override.objects.filter(lot__in=expired, valid_on=on).select_related("made_by", "lot").order_by("pk")
    stands = {override.lot_id: override for override in reversed(found)}
    missing = [f"{lot.number} ({lot.expires_on.isoformat()})" for lot in expired.values() if lot.pk not in stands]
    if missing:
        raise BadInput(
            f"Expired: {', '.join(missing)}. Take another lot, or have it allowed for today, by name and with a "
            f"reason: {who_may_override()} may."
        )
    return list(stands.values())


def refuse_overdue(equipment: Equipment, on: date) -> list[Override]:
    """Refuse equipment that is overdue for its calibration or failed it, unless somebody allowed it for this day.

    At most two queries. Returns the override that it stands on, for the record. Raises BadInput.
    """
    if not is_overdue(equipment, on):
        return []
    override = overridden(equipment, on)
    if override is None:
        raise BadInput(
            f"{equipment} is overdue for calibration, or failed it. Use another one, or have it allowed for today, by "
            f"name and with a reason: {who_may_override()} may."
        )
    return [override]


def in_words(override: Override) -> str:
    """An override as the record of an act names it; no query where its lot, equipment and maker are loaded."""
    return f"{override.lot or override.equipment} {override.kind}: {override.made_by}, {override.reason}"
