"""Moisture and loss on ignition: dishes weighed before and after heating."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from labresults.acts import BadInput, Done, WrongState, act
from labresults.calculation.errors import NotPhysical
from labresults.calculation.mass_loss import CONSTANT_PERCENT, is_constant, last_mass, loss_percent
from labresults.models import Equipment, EquipmentCheck, MassLoss, Person, Subsample
from labresults.queries.mass_losses import containers, newest
from labresults.queries.materials import in_words, newest_check, refuse_overdue
from labresults.readers.problem import Problem
from labresults.terms import MassLossKind, State


@dataclass(frozen=True)
class Heated:
    """What was recorded of one dish. Masses in g, with the dish; temperature in °C.

    seen_version: of the record that the person saw, 0 for none; None: not said.
    """

    number: str  # laboratory number of the sample
    tare_g: float
    before_g: float
    after_g: float
    again_g: float | None = None
    state: State = State.AS_RECEIVED
    reason: str = ""
    seen_version: int | None = None


@act("record_mass_losses")
def record_mass_losses(
    *,
    by: Person,
    at: datetime,
    reason: str,
    kind: MassLossKind,
    rows: Sequence[Heated],
    temperature_C: float,
    balance: Equipment | None = None,
    oven: Equipment | None = None,
    observed_at: datetime | None = None,
) -> Done[list[MassLoss]]:
    """Record dishes: all rows, or none; a dish recorded before with the same masses is left as it is.

    The loss is computed from the masses, of the last weighing, and kept unrounded. Raises BadInput with every problem
    at its row (masses that cannot be, not at constant mass without a reason, an unknown or struck sample, another
    record without a reason) and when balance or oven is overdue; WrongState when all of it is recorded already.
    """
    used = [item for item in (balance, oven) if item]
    allowed = [override for item in used for override in refuse_overdue(item, at.date())]
    checks = {item: newest_check(item, at.date()) for item in used}
    nodes = containers([row.number for row in rows])
    known = newest(kind, nodes.values())
    new = [row for row in rows if not _is_recorded(row, nodes.get(row.number), known)]
    if rows and not new:
        raise WrongState(f"All {len(rows)} dishes are recorded already with these masses; nothing was recorded again.")
    problems = _problems(rows, nodes, known)
    if problems:
        raise BadInput(f"{len(problems)} to correct; nothing was recorded.", tuple(problems))
    same = {
        "kind": kind,
        "observed_at": observed_at or at,
        "temperature_C": temperature_C,
        "oven": oven,
        "balance": balance,
        "balance_check": checks.get(balance) if balance else None,
        "made_by": by,
        "made_at": at,
    }
    made = MassLoss.objects.bulk_create(_loss(row, nodes[row.number], known, same) for row in new)
    earlier = {row.number: _plain(known[nodes[row.number].pk]) for row in new if nodes[row.number].pk in known}
    return Done(
        made,
        subject=("mass losses", str(kind)),
        before=earlier or None,
        after={
            "dishes": [[row.number, _plain(loss)] for row, loss in zip(new, made, strict=True)],
            "temperature": temperature_C,
            "balance": _named(balance, checks),
            "oven": _named(oven, checks),
            "allowed": [in_words(override) for override in allowed],
            "recorded already": len(rows) - len(new),
        },
    )


def _loss(row: Heated, node: Subsample, known: Mapping[int, MassLoss], same: Mapping[str, Any]) -> MassLoss:
    """One dish as a row. same: what holds for all of them."""
    return MassLoss(
        subsample=node,
        version=known[node.pk].version + 1 if node.pk in known else 1,
        state=row.state,
        tare_g=row.tare_g,
        before_g=row.before_g,
        after_g=row.after_g,
        again_g=row.again_g,
        loss_percent=loss_percent(row.tare_g, row.before_g, last_mass(row.after_g, row.again_g)),
        reason=row.reason,
        **same,
    )


def _is_recorded(row: Heated, node: Subsample | None, known: Mapping[int, MassLoss]) -> bool:
    before = known.get(node.pk) if node else None
    if before is None:
        return False
    masses = (before.tare_g, before.before_g, before.after_g, before.again_g)
    return masses == (row.tare_g, row.before_g, row.after_g, row.again_g) and before.state == row.state


def _problems(rows: Sequence[Heated], nodes: Mapping[str, Subsample], known: Mapping[int, MassLoss]) -> list[Problem]:
    found: list[Problem] = [] if rows else [Problem(None, None, "There is no dish.", "Fill in at least one.")]
    first: dict[str, int] = {}
    for number, row in enumerate(rows, start=1):
        node = nodes.get(row.number)
        if node is None:
            found.append(Problem(number, "sample", f"There is no sample “{row.number}”.", "Scan its label again."))
            continue
        if first.setdefault(row.number, number) != number:
            found.append(
                Problem(number, "sample", f"{row.number} is in row {first[row.number]} too.", "Take one of them out.")
            )
        found += _mass_problems(number, row)
        if not _is_recorded(row, node, known):
            found += _version_problems(number, row, known.get(node.pk))
    return found


def _mass_problems(number: int, row: Heated) -> list[Problem]:
    try:
        loss_percent(row.tare_g, row.before_g, last_mass(row.after_g, row.again_g))
    except NotPhysical as error:
        return [Problem(number, "masses", str(error), "Weigh again, or correct what was typed.")]
    if row.again_g is None or row.reason or is_constant(row.after_g, row.again_g, row.tare_g):
        return []
    return [
        Problem(
            number,
            "weighed again",
            f"{row.again_g} g differs from {row.after_g} g by more than {CONSTANT_PERCENT} % of what is left.",
            "Heat again until it is constant, or keep it with a reason.",
        )
    ]


def _version_problems(number: int, row: Heated, before: MassLoss | None) -> list[Problem]:
    if before is None:
        return []
    if row.seen_version is not None and row.seen_version < before.version:
        what = f"{before.made_by} recorded {row.number} meanwhile: {_words(before)}."
        return [Problem(number, "sample", what, "Look at it, then send yours with a reason or leave it.")]
    if not row.reason:
        what = f"{row.number} was recorded before: {_words(before)}."
        return [Problem(number, "reason", what, "Say why it is recorded again.")]
    return []


def _words(loss: MassLoss) -> str:
    return f"{loss.tare_g} g, {loss.before_g} g, {loss.after_g} g, a loss of {loss.loss_percent:.4g} %"


def _plain(loss: MassLoss) -> dict[str, object]:
    return {
        "tare_g": loss.tare_g,
        "before_g": loss.before_g,
        "after_g": loss.after_g,
        "again_g": loss.again_g,
        "state": loss.state,
        "loss_percent": loss.loss_percent,
        "reason": loss.reason,
    }


def _named(item: Equipment | None, checks: Mapping[Equipment, EquipmentCheck | None]) -> str | None:
    if item is None:
        return None
    check = checks[item]
    return f"{item.code}, checked {check.done_on.isoformat()}" if check else item.code
