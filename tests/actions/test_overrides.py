"""Overrides: by name, with a reason, for one thing and one day."""

from datetime import date

import pytest

from labresults.actions.materials import record_equipment_check
from labresults.actions.overrides import allow_override
from labresults.acts import BadInput, NotAuthorised, WrongState
from labresults.models import Lot
from labresults.queries.materials import current_lot, overridden
from labresults.terms import OverrideKind
from tests.builders import NOW, Laboratory


def an_expired_lot(number: str = "L-2300") -> Lot:
    Lot.objects.filter(number=number).update(expires_on=date(2026, 11, 1))
    return Lot.objects.get(number=number)


def let(
    lab: Laboratory, by: str = "quality manager", reason: str = "compared with the new lot", **what: object
) -> None:
    allow_override(by=lab.people[by], at=lab.later(), reason=reason, **{"kind": OverrideKind.EXPIRED_LOT, **what})  # type: ignore[arg-type]


def test_it_holds_for_its_day_only(lab: Laboratory) -> None:
    lot = an_expired_lot()
    let(lab, lot=lot)
    found = overridden(lot, NOW.date())
    assert (found.made_by, found.reason) == (lab.people["quality manager"], "compared with the new lot")
    assert overridden(lot, date(2026, 11, 17)) is None


def test_an_expired_lot_that_was_allowed_is_the_current_one_only_where_no_other_is_valid(lab: Laboratory) -> None:
    lot = an_expired_lot()
    with pytest.raises(BadInput, match="No lot of CHECK is valid"):
        current_lot(lot.material, NOW.date())
    let(lab, lot=lot)
    assert current_lot(lot.material, NOW.date()) == lot
    newer = Lot.objects.create(
        number="L-2301", material=lot.material, received_on=date(2026, 1, 1), expires_on=date(2027, 1, 1),
        made_by=lab.people["quality manager"], made_at=NOW,
    )  # fmt: skip
    assert current_lot(lot.material, NOW.date()) == newer


def test_what_needs_no_override_gets_none(lab: Laboratory) -> None:
    with pytest.raises(WrongState, match="L-2300 has not expired: it may be used until 2027-01-05"):
        let(lab, lot=Lot.objects.get(number="L-2300"))
    with pytest.raises(WrongState, match="B2 is not overdue"):
        let(lab, kind=OverrideKind.OVERDUE_EQUIPMENT, equipment=lab.balance)
    lot = an_expired_lot()
    let(lab, lot=lot)
    with pytest.raises(WrongState, match="allowed for today already, by Quality Manager Person: compared"):
        let(lab, by="analyst", lot=lot)


def test_overdue_equipment_is_allowed_by_its_own_kind(lab: Laboratory) -> None:
    record_equipment_check(
        by=lab.people["quality manager"], at=lab.later(), equipment=lab.balance, done_on=date(2026, 11, 10),
        due_on=date(2026, 11, 15), what="calibration", passed=True,
    )  # fmt: skip
    with pytest.raises(BadInput, match="Name what is to be allowed"):
        let(lab, equipment=lab.balance)
    let(lab, kind=OverrideKind.OVERDUE_EQUIPMENT, equipment=lab.balance)
    assert overridden(lab.balance, NOW.date())


def test_it_needs_a_reason_and_a_role(lab: Laboratory) -> None:
    lot = an_expired_lot()
    with pytest.raises(BadInput, match="Say why L-2300 may be used today"):
        let(lab, reason=" ", lot=lot)
    with pytest.raises(NotAuthorised, match="may not allow override"):
        let(lab, by="preparer", lot=lot)
