"""Materials, their lots, and equipment with its checks."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from labresults.acts import BadInput, Done, act
from labresults.calculation.tray import Tray
from labresults.models import Content, Equipment, EquipmentCheck, Lot, Material, Person
from labresults.terms import EquipmentKind, MaterialKind

MOST_CUPS = 10_000
"""More places than any tray has: a slip of the pen."""


@act("register_material")
def register_material(
    *, by: Person, at: datetime, reason: str, code: str, name: str, kind: MaterialKind
) -> Done[Material]:
    """Enter a material by its code. Raises BadInput when the code is taken."""
    if Material.objects.filter(code=code).exists():
        raise BadInput(f"There is a material {code} already.")
    row = Material.objects.create(code=code, name=name, kind=kind)
    return Done(row, subject=("material", code), after={"name": name, "kind": str(kind)})


@act("register_lot")
def register_lot(
    *,
    by: Person,
    at: datetime,
    reason: str,
    number: str,
    material: Material,
    received_on: date,
    expires_on: date,
    contents: Sequence[dict[str, Any]] = (),
    made_from: Lot | None = None,
    certificate: str = "",
) -> Done[Lot]:
    """Enter a lot and what it holds (fields of Content, element by symbol).

    Raises BadInput when the number is taken, or the lot would outlive the one that it was made from.
    """
    if Lot.objects.filter(number=number).exists():
        raise BadInput(f"There is a lot {number} already.")
    if made_from and expires_on > made_from.expires_on:
        raise BadInput(f"{number} cannot outlive {made_from}, from which it was made ({made_from.expires_on}).")
    lot = Lot.objects.create(
        number=number,
        material=material,
        received_on=received_on,
        expires_on=expires_on,
        made_from=made_from,
        certificate=certificate,
        made_by=by,
        made_at=at,
    )
    for values in contents:
        named = dict(values)
        Content.objects.create(lot=lot, element_id=named.pop("element"), **named)
    return Done(
        lot,
        subject=("lot", number),
        after={
            "material": material.code,
            "made from": made_from.number if made_from else None,
            "received": received_on.isoformat(),
            "expires": expires_on.isoformat(),
            "contents": [dict(values) for values in contents],
        },
    )


@act("register_equipment")
def register_equipment(
    *,
    by: Person,
    at: datetime,
    reason: str,
    code: str,
    name: str,
    kind: EquipmentKind,
    tray: Tray | None = None,
) -> Done[Equipment]:
    """Enter a piece of equipment; tray: of a spectrometer, where positions get rack and cup.

    Raises BadInput when the code is taken, for a tray of anything else, or one without a place.
    """
    if Equipment.objects.filter(code=code).exists():
        raise BadInput(f"There is equipment {code} already.")
    _refuse_bad_tray(kind, tray)
    shape = (
        {
            "tray_racks": tray.racks,
            "tray_rows": tray.rows,
            "tray_columns": tray.columns,
            "tray_by_column": tray.by_column,
        }
        if tray
        else {}
    )
    row = Equipment.objects.create(code=code, name=name, kind=kind, **shape)
    said = {"name": name, "kind": str(kind)} | ({"tray": tray.in_words()} if tray else {})
    return Done(row, subject=("equipment", code), after=said)


def _refuse_bad_tray(kind: EquipmentKind, tray: Tray | None) -> None:
    if tray is None:
        return
    if kind != EquipmentKind.SPECTROMETER:
        raise BadInput(f"A {kind} has no tray: leave its shape out.")
    if min(tray.racks, tray.rows, tray.columns) < 1 or tray.places > MOST_CUPS:
        raise BadInput(f"A tray has at least one rack, row and column, and at most {MOST_CUPS} places.")


@act("record_equipment_check")
def record_equipment_check(
    *,
    by: Person,
    at: datetime,
    reason: str,
    equipment: Equipment,
    done_on: date,
    due_on: date,
    what: str,
    passed: bool,
    certificate: str = "",
) -> Done[EquipmentCheck]:
    """Record a calibration or check, and when the next one is due."""
    row = EquipmentCheck.objects.create(
        equipment=equipment,
        done_on=done_on,
        due_on=due_on,
        what=what,
        passed=passed,
        certificate=certificate,
        made_by=by,
        made_at=at,
    )
    return Done(
        row,
        subject=("equipment", equipment.code),
        after={"what": what, "done": done_on.isoformat(), "due": due_on.isoformat(), "passed": passed},
    )
