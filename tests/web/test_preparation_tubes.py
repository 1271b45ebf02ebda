"""A tube that was lost, reagents named later, and what has expired or is overdue: refused, or allowed by name."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from labresults.actions.materials import record_equipment_check, register_equipment
from labresults.models import AuditEvent, Equipment, Lot, Override, PreparationBatch, Weighing
from labresults.models import TestPortion as Portion
from labresults.terms import EquipmentKind
from tests.builders import NOW, Laboratory
from tests.web.test_preparation import an_acid
from tests.web.test_preparation_grid import begun

AsRole = Callable[[str], Client]


@pytest.fixture
def batch(lab: Laboratory) -> PreparationBatch:
    """Tubes: 1 method blank, 2 reference material, 3 to 5 samples, 6 duplicate of 5."""
    return begun(lab)


def page_of(as_role: AsRole, batch: PreparationBatch) -> Any:
    return as_role("preparer").get(reverse("batch", args=[batch.number]))


def test_a_lost_tube_is_taken_again_and_stays_on_the_page_with_its_reason(
    batch: PreparationBatch, as_role: AsRole
) -> None:
    label = batch.portions.get(tube=4).label
    as_role("preparer").post(reverse("discard-portion", args=[batch.number]), {"tube": 4, "reason": "boiled dry"})
    page = page_of(as_role, batch)
    assert [row.tube.portion.tube for row in page.context["grid"].rows] == [1, 2, 3, 5, 6, 7]
    taken = page.context["grid"].rows[-1].tube
    assert (taken.portion.label, taken.labels) == (f"{label} (2)", (f"{label} (2)", label))
    assert [(row.portion.tube, row.reason) for row in page.context["lost"]] == [(4, "boiled dry")]
    assert AuditEvent.objects.latest("seq").act == "discard_portion"


def test_a_tube_without_a_reason_is_not_discarded(batch: PreparationBatch, as_role: AsRole) -> None:
    browser = as_role("preparer")
    answer = browser.post(reverse("discard-portion", args=[batch.number]), {"tube": 4, "reason": " "}, follow=True)
    assert "What happened: This field is required." in answer.content.decode()
    assert Portion.objects.count() == 6


def test_a_line_of_a_discarded_tube_in_a_file_names_the_one_taken_instead(
    batch: PreparationBatch, as_role: AsRole
) -> None:
    label = batch.portions.get(tube=4).label
    browser = as_role("preparer")
    browser.post(reverse("discard-portion", args=[batch.number]), {"tube": 4, "reason": "spilled"})
    given = {"state": "as received", "pasted": f"label\tmass g\n{label}\t0.5"}
    answer = browser.post(reverse("batch", args=[batch.number]), given)
    assert f"“{label}” was discarded; what was taken instead is {label} (2)." in answer.content.decode()


# ------------------------------------------------------------ reagents


def add(as_role: AsRole, batch: PreparationBatch, lots: str) -> str:
    browser = as_role("preparer")
    return browser.post(reverse("add-reagents", args=[batch.number]), {"lots": lots}, follow=True).content.decode()


def test_reagents_are_added_by_their_numbers(lab: Laboratory, batch: PreparationBatch, as_role: AsRole) -> None:
    an_acid(lab, "A-402")
    an_acid(lab, "H-077")
    assert "on the record" in add(as_role, batch, "A-402 h-077")
    assert sorted(lot.number for lot in batch.reagents.all()) == ["A-402", "H-077"]
    assert "There is no lot X-1." in add(as_role, batch, "X-1")


def test_an_expired_reagent_is_refused_until_it_is_allowed_by_name(
    lab: Laboratory, batch: PreparationBatch, as_role: AsRole
) -> None:
    an_acid(lab, "A-401", date(2026, 11, 1))
    said = add(as_role, batch, "A-401")
    assert "Expired: A-401 (2026-11-01)." in said
    assert "analyst, laboratory manager or quality manager may" in said
    assert not batch.reagents.exists()

    where = reverse("override") + f"?of=A-401&next=/preparation/{batch.number}"
    assert "Allow A-401 for today" not in as_role("preparer").get(where).content.decode()
    answer = as_role("analyst").post(where, {"reason": "titrated this morning"})
    assert answer.headers["Location"] == f"/preparation/{batch.number}"
    assert "on the record" in add(as_role, batch, "A-401")
    event = AuditEvent.objects.latest("seq")
    assert "Analyst Person, titrated this morning" in event.content


# ------------------------------------------------------------ an overdue balance


@pytest.fixture
def overdue(lab: Laboratory) -> Equipment:
    quality = lab.people["quality manager"]
    balance = register_equipment(by=quality, at=NOW, code="B3", name="balance B3", kind=EquipmentKind.BALANCE)
    record_equipment_check(
        by=quality, at=NOW, equipment=balance, done_on=date(2026, 1, 5), due_on=date(2026, 11, 1), what="calibration",
        passed=True,
    )  # fmt: skip
    return balance


def weigh(as_role: AsRole, batch: PreparationBatch, balance: Equipment) -> Any:
    given = {"state": "as received", "usual_volume_mL": "50", "balance": balance.pk, "t3-mass_g": "0.5"}
    return as_role("preparer").post(reverse("batch", args=[batch.number]), given)


def test_an_overdue_balance_is_refused_until_it_is_allowed_by_name(
    batch: PreparationBatch, overdue: Equipment, as_role: AsRole
) -> None:
    words = weigh(as_role, batch, overdue).content.decode()
    assert "B3, overdue since 2026-11-01" in words
    assert "nothing is recorded with it" in words
    assert 'value="0.5"' in words
    assert not Weighing.objects.exists()

    where = reverse("override") + "?of=B3"
    assert "was due for its next check on 2026-11-01" in as_role("quality manager").get(where).content.decode()
    as_role("quality manager").post(where, {"reason": "checked with two weights"})
    weigh(as_role, batch, overdue)
    row = Weighing.objects.get()
    assert (row.balance, row.balance_check.due_on) == (overdue, date(2026, 11, 1))


@pytest.mark.parametrize(
    ("role", "of", "reason"),
    [("preparer", "B3", "in a hurry"), ("quality manager", "B2", "no need"), ("quality manager", "B3", " ")],
    ids=["no authority", "not overdue", "no reason"],
)
def test_what_may_not_be_allowed(role: str, of: str, reason: str, overdue: Equipment, as_role: AsRole) -> None:
    answer = as_role(role).post(reverse("override") + f"?of={of}", {"reason": reason})
    assert answer.status_code == 200
    assert not Override.objects.exists()


def test_nobody_is_led_away_from_the_site(overdue: Equipment, as_role: AsRole) -> None:
    where = reverse("override") + "?of=B3&next=https://elsewhere.example/"
    answer = as_role("analyst").post(where, {"reason": "checked with two weights"})
    assert answer.headers["Location"] == "/preparation"


def test_the_number_may_be_typed_or_scanned_on_the_page_itself(lab: Laboratory, as_role: AsRole) -> None:
    browser, where = as_role("analyst"), reverse("override")
    assert 'name="of"' in browser.get(where).content.decode()
    assert "“X-1” is neither a lot nor a piece of equipment" in browser.get(where + "?of=X-1").content.decode()
    lot = Lot.objects.get(number="L-2300")
    assert "Nothing stands against its use." in browser.get(where + f"?of={lot.number.lower()}").content.decode()


def test_the_only_balance_is_chosen_beforehand_and_a_mass_without_one_is_said(
    lab: Laboratory, batch: PreparationBatch, as_role: AsRole
) -> None:
    page = page_of(as_role, batch)
    assert page.context["form"].initial["balance"] == lab.balance.pk
    assert "B2 checked 2026-11-01, due 2027-02-01" in page.content.decode()
    given = {"state": "as received", "usual_volume_mL": "50", "balance": "", "t3-mass_g": "0.5"}
    answer = as_role("preparer").post(reverse("batch", args=[batch.number]), given, follow=True)
    assert "No balance is named with these masses." in answer.content.decode()
