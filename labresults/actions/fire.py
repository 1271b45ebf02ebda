"""Fire assay: what each crucible was charged with, its button and its bead."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from labresults.acts import BadInput, Done, WrongState, act, require_task
from labresults.calculation.fire_assay import judge_button
from labresults.models import FireCharge, Lot, MethodVersion, Person, PreparationBatch, TestPortion
from labresults.queries.fire import charges_of
from labresults.queries.materials import in_words, refuse_expired
from labresults.readers.problem import Problem
from labresults.terms import Task


@dataclass(frozen=True)
class Fired:
    """What was recorded of one crucible. Flux and button in g, collector silver and bead in mg.

    seen_version: of the record that the person saw, 0 for none; None: not said.
    """

    label: str
    crucible: int
    flux_g: float
    collector_mg: float | None = None
    button_g: float | None = None
    bead_mg: float | None = None
    is_refired: bool = False
    reason: str = ""
    seen_version: int | None = None


@act("record_fire_charges")
def record_fire_charges(
    *,
    by: Person,
    at: datetime,
    reason: str,
    batch: PreparationBatch,
    rows: Sequence[Fired],
    tray: str,
    flux_lot: Lot,
    collector_lot: Lot | None = None,
) -> Done[list[FireCharge]]:
    """Record crucibles of one tray: all rows, or none; those recorded with the same figures are left as they are.

    The charge itself is the portion's mass and the bead's solution its volume: both are weighings. With collector
    silver added, the bead says nothing of the sample's silver, and the evaluation gives none.
    Raises BadInput with every problem at its row (unknown tube, a crucible twice, a button outside the method's window
    without a reason, another record without one) and when a lot has expired; WrongState when all is recorded already.
    """
    version = batch.method_version
    require_task(by, Task.PREPARE, version.method, at.date())
    allowed = refuse_expired([lot for lot in (flux_lot, collector_lot) if lot], at.date())
    portions = {portion.label: portion for portion in batch.portions.filter(discarded=None)}
    known = charges_of(batch)
    stand = (tray, flux_lot.pk, collector_lot.pk if collector_lot else None)
    new = [row for row in rows if not _is_recorded(row, portions.get(row.label), known, stand)]
    if rows and not new:
        raise WrongState(f"All {len(rows)} crucibles are recorded already; nothing was recorded again.")
    problems = _problems(new, rows, portions, known, version, collector_lot)
    if problems:
        raise BadInput(f"{len(problems)} to correct; nothing was recorded.", tuple(problems))
    made = [
        FireCharge.objects.create(
            portion=portions[row.label], version=_next(known, portions[row.label]), tray=tray, crucible=row.crucible,
            flux_lot=flux_lot, flux_g=row.flux_g, button_g=row.button_g, bead_mg=row.bead_mg,
            collector_lot=collector_lot if row.collector_mg else None, collector_mg=row.collector_mg or None,
            is_refired=row.is_refired, reason=row.reason, made_by=by, made_at=at,
        )
        for row in new
    ]  # fmt: skip
    earlier = {row.label: _plain(known[portions[row.label].pk]) for row in new if portions[row.label].pk in known}
    return Done(
        made,
        subject=("batch", batch.number),
        before=earlier or None,
        after={
            "tray": tray,
            "flux": flux_lot.number,
            "collector": collector_lot.number if collector_lot else None,
            "crucibles": [[row.label, _plain(charge)] for row, charge in zip(new, made, strict=True)],
            "recorded already": len(rows) - len(new),
            "allowed": [in_words(override) for override in allowed],
        },
    )


def _is_recorded(
    row: Fired, portion: TestPortion | None, known: Mapping[int, FireCharge], stand: tuple[str, int, int | None]
) -> bool:
    before = known.get(portion.pk) if portion else None
    if before is None:
        return False
    collector = stand[2] if row.collector_mg else None
    return (
        (before.tray, before.flux_lot_id, before.collector_lot_id) == (stand[0], stand[1], collector)
        and (before.crucible, before.flux_g, before.collector_mg)
        == (row.crucible, row.flux_g, row.collector_mg or None)
        and (before.button_g, before.bead_mg, before.is_refired) == (row.button_g, row.bead_mg, row.is_refired)
    )


def _next(known: Mapping[int, FireCharge], portion: TestPortion) -> int:
    return known[portion.pk].version + 1 if portion.pk in known else 1


def _problems(
    new: Sequence[Fired],
    rows: Sequence[Fired],
    portions: Mapping[str, TestPortion],
    known: Mapping[int, FireCharge],
    version: MethodVersion,
    collector_lot: Lot | None,
) -> list[Problem]:
    found: list[Problem] = [] if rows else [Problem(None, None, "There is no crucible.", "Fill in at least one.")]
    stands: dict[int, str] = {}
    for number, row in enumerate(rows, start=1):
        if stands.setdefault(row.crucible, row.label) != row.label:
            what = f"Crucible {row.crucible} holds {stands[row.crucible]} already."
            found.append(Problem(number, "crucible", what, "Each stands alone on its tray."))
        portion = portions.get(row.label)
        if portion is None:
            what = f"“{row.label}” is not in this batch, or was discarded."
            found.append(Problem(number, "label", what, "Check the label."))
        elif row in new:
            found += _row_problems(number, row, known.get(portion.pk), version, collector_lot)
    return found


def _row_problems(
    number: int, row: Fired, before: FireCharge | None, version: MethodVersion, collector_lot: Lot | None
) -> list[Problem]:
    found = []
    if not row.flux_g > 0:
        found.append(Problem(number, "flux", f"{row.flux_g} g of flux cannot be.", "Give its mass in g."))
    if row.collector_mg and collector_lot is None:
        found.append(Problem(number, "collector", "Silver was added, and no lot is named.", "Choose its lot."))
    if row.button_g is not None and not row.reason:
        said = judge_button(row.button_g, version.button_low_g, version.button_high_g)
        if said:
            found.append(Problem(number, "button", said, ""))
    if before is None:
        return found
    if row.seen_version is not None and row.seen_version < before.version:
        what = f"{before.made_by} recorded {row.label} meanwhile."
        found.append(Problem(number, "label", what, "Look at it, then send yours with a reason or leave it."))
    elif not row.reason:
        found.append(Problem(number, "reason", f"{row.label} was recorded before.", "Say why it is recorded again."))
    return found


def _plain(charge: FireCharge) -> dict[str, object]:
    return {
        "tray": charge.tray,
        "crucible": charge.crucible,
        "flux_g": charge.flux_g,
        "collector_mg": charge.collector_mg,
        "button_g": charge.button_g,
        "bead_mg": charge.bead_mg,
        "fired again": charge.is_refired,
        "reason": charge.reason,
    }
