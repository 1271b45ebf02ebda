"""Runs are planned as the method asks, in its order or a person's: broken rules are shown, repeats have their cause."""

import csv
from collections.abc import Callable
from datetime import date

import pytest

from labresults.actions.batches import begin_batch
from labresults.actions.materials import (
    record_equipment_check,
    register_equipment,
    register_lot,
    register_material,
)
from labresults.actions.overrides import allow_override
from labresults.acts import BadInput
from labresults.calculation.tray import Tray
from labresults.models import Equipment, Lot, Material, Run
from labresults.queries.run_lists import run_list
from labresults.terms import EquipmentKind, MaterialKind, OverrideKind, Role
from tests.actions.planned_runs import a_planned_run, event_of, labels, planned, portions_of, record_of
from tests.builders import (
    CONTENT,
    NOW,
    Laboratory,
    a_method,
    a_run,
    a_submission,
    a_weighed_batch,
)

# ---------------------------------------------------------------- the list


def test_standards_come_first_and_checks_stand_among_the_solutions(lab: Laboratory) -> None:
    order = labels(a_planned_run(lab, 8))
    assert order[:5] == ["STD 0", "STD 1", "STD 2", "STD 3", "ICV 1"]
    # One check after every five test solutions, one at the end; batch controls count as solutions.
    assert order.index("CCV 1") == 5 + 5
    assert order[-1] == "CCV 3"


ADDED = [
    {"role": Role.INTERFERENCE_CHECK, "material": "CHECK", "at_start": True},
    {"role": Role.LINEAR_RANGE_CHECK, "material": "CHECK", "at_start": True},
    {"role": Role.SERIAL_DILUTION, "dilution": 5.0, "every": 20, "at_end": True},
    {
        "role": Role.POST_DIGESTION_SPIKE, "material": "CHECK", "every": 20, "at_end": True, "spike_mL": 0.5,
        "made_up_mL": 10.0,
    },
    {"role": Role.RINSE, "at_end": True},
]  # fmt: skip


def test_what_is_made_at_the_instrument_says_what_of_and_what_was_added(lab: Laboratory) -> None:
    # given a method with checks, a serial dilution and a spike at the instrument
    lab.version = a_method(lab.people["quality manager"], "AR-9", more_controls=ADDED)
    run = planned(lab, portions_of(a_weighed_batch(lab, a_submission(lab))))
    # then they stand at the start and at the end; a spike is diluted by what is added to it: 10 / (10 - 0.5)
    assert labels(run)[4:7] == ["ICV 1", "IFC 1", "LRC 1"]
    assert labels(run)[-3:] == ["KF26-00003 SD", "KF26-00003 PDS", "RINSE 1"]
    spike, diluted = run.positions.get(label="KF26-00003 PDS"), run.positions.get(label="KF26-00003 SD")
    assert (spike.parent.label, spike.added_lot.number, spike.added_mL, spike.made_up_mL, spike.lot) == (
        "KF26-00003", "L-2300", 0.5, 10.0, None,
    )  # fmt: skip
    assert spike.dilution == pytest.approx(10.0 / 9.5)
    assert (diluted.parent.label, diluted.dilution) == ("KF26-00003", 5.0)
    assert spike.portion == diluted.portion == run.positions.get(label="KF26-00003").portion


def test_each_sample_has_its_additions_where_the_method_calibrates_by_them(lab: Laboratory) -> None:
    additions = [
        {"role": Role.STANDARD_ADDITION, "material": "CHECK", "every": 1, "spike_mL": mL, "made_up_mL": 10.0}
        for mL in (0.5, 1.0, 2.0)
    ]
    lab.version = a_method(lab.people["quality manager"], "SA-1", more_controls=additions, by_additions=True)
    run = planned(lab, portions_of(a_weighed_batch(lab, a_submission(lab, 1))))
    added = run.positions.filter(role=Role.STANDARD_ADDITION).order_by("number")
    assert [(p.label, p.parent.label, p.added_mL) for p in added] == [
        ("KF26-00001 ADD 1", "KF26-00001", 0.5),
        ("KF26-00001 ADD 2", "KF26-00001", 1.0),
        ("KF26-00001 ADD 3", "KF26-00001", 2.0),
    ]
    # the aliquot leaves room for the largest addition, and the sample itself is made up alike: 10 / (10 - 2)
    assert {p.dilution for p in (*added, run.positions.get(label="KF26-00001"))} == {1.25}


def test_the_standards_stand_again_in_a_new_block(lab: Laboratory) -> None:
    lab.version = a_method(lab.people["quality manager"], "AR-9", recalibrate_every=5)
    run = planned(lab, portions_of(a_weighed_batch(lab, a_submission(lab, 6))))
    blocks: dict[int, list[str]] = {}
    for block, label in run.positions.order_by("number").values_list("block", "label"):
        blocks.setdefault(block, []).append(label)
    assert blocks[1][:5] == ["STD 0", "STD 1", "STD 2", "STD 3", "ICV 1"]
    assert blocks[2][:5] == ["STD 0 B2", "STD 1 B2", "STD 2 B2", "STD 3 B2", "ICV 2"]
    assert {block: order[-1] for block, order in blocks.items()} == {1: "CCV 1", 2: "CCV 2"}
    assert record_of(run)["broken rules"] == []


def test_rack_and_cup_come_from_the_shape_of_the_tray(lab: Laboratory) -> None:
    quality = lab.people["quality manager"]
    instrument = register_equipment(
        by=quality, at=NOW, code="P2", name="plasma 2", kind=EquipmentKind.SPECTROMETER, tray=Tray(2, 2, 4)
    )
    checked(lab, instrument)
    batch = a_weighed_batch(lab, a_submission(lab))
    run = planned(lab, portions_of(batch), instrument=instrument)
    stands = list(run.positions.order_by("number").values_list("rack", "cup"))
    assert stands[:2] + stands[7:9] == [(1, 1), (1, 2), (1, 8), (2, 1)]
    # and more than it holds is said, at the first position without a cup
    long = a_weighed_batch(lab, a_submission(lab, 12, names=[f"n{n}" for n in range(12)]))
    with pytest.raises(BadInput, match="A rule of the run list is broken") as refusal:
        planned(lab, portions_of(long), instrument=instrument)
    assert "Position 17: the tray holds 16 of" in str(refusal.value.problems[0])
    run = planned(lab, portions_of(long), instrument=instrument, reason="filled again at noon")
    assert list(run.positions.filter(number__gt=16, cup__isnull=False)) == []


def checked(lab: Laboratory, instrument: Equipment) -> None:
    record_equipment_check(
        by=lab.people["quality manager"], at=NOW, equipment=instrument, done_on=date(2026, 11, 1),
        due_on=date(2027, 2, 1), what="wavelength check", passed=True,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "tray", "says"),
    [
        (EquipmentKind.BALANCE, Tray(1, 2, 3), "A balance has no tray"),
        (EquipmentKind.SPECTROMETER, Tray(0, 2, 3), "at least one rack, row and column"),
        (EquipmentKind.SPECTROMETER, Tray(99, 99, 99), "at most 10000 places"),
    ],
)
def test_a_tray_that_cannot_be(lab: Laboratory, kind: EquipmentKind, tray: Tray, says: str) -> None:
    with pytest.raises(BadInput, match=says):
        register_equipment(by=lab.people["quality manager"], at=NOW, code="X9", name="x", kind=kind, tray=tray)


def test_the_run_list_for_the_instrument(lab: Laboratory) -> None:
    lab.version = a_method(lab.people["quality manager"], "AR-9", more_controls=ADDED)
    run = planned(lab, portions_of(a_weighed_batch(lab, a_submission(lab, 1))))
    rows = list(csv.reader(run_list(run).splitlines()))
    assert rows[0] == [
        "position", "label", "role", "rack", "cup", "dilution at the instrument", "calibration block", "belongs to",
        "lot", "added lot", "added, mL", "made up to, mL",
    ]  # fmt: skip
    assert rows[1] == ["1", "STD 0", "calibration blank", "", "", "1", "1", "", "L-2200", "", "", ""]
    spiked = next(row for row in rows if row[1].endswith("PDS"))
    assert spiked[5:] == ["1.05263", "1", "KF26-00001", "", "L-2300", "0.5", "10"]


# ---------------------------------------------------------------- an order that a person made


def keys(run: Run) -> list[str]:
    """The list of a planned run, as keys: standards, the verification, test solutions, the check."""
    standards = {f"STD {n}": f"s{n + 1}" for n in range(4)}
    return [
        standards.get(p.label) or (f"p{p.portion_id}" if p.portion_id else {"ICV": "c1", "CCV": "c2"}[p.label[:3]])
        for p in run.positions.order_by("number")
    ]


def in_order(lab: Laboratory, change: Callable[[list[str]], list[str]], **given: object) -> Run:
    """A run of a batch that waits, its list changed by a person."""
    model = a_planned_run(lab)
    batch = a_weighed_batch(lab, a_submission(lab, 3, names=["x", "y", "z"]))
    portions = portions_of(batch)
    old = [
        f"p{key}" for key in model.positions.exclude(portion=None).order_by("number").values_list("portion", flat=True)
    ]
    now = dict(zip(old, (f"p{portion.pk}" for portion in portions), strict=True))
    return planned(lab, portions, order=change([now.get(key, key) for key in keys(model)]), **given)


def test_a_list_in_another_order_is_planned_as_it_was_made(lab: Laboratory) -> None:
    run = in_order(lab, lambda order: [*order[:6], order[7], order[6], *order[8:]])
    assert labels(run)[5:9] == ["B26-0002 MB1", "KF26-00004", "B26-0002 RM2", "KF26-00005"]
    assert record_of(run)["as proposed"] is False
    assert record_of(run)["broken rules"] == []


def test_a_broken_rule_stands_only_with_a_reason_that_goes_on_record(lab: Laboratory) -> None:
    # given a list without the check at its end
    with pytest.raises(BadInput, match="A rule of the run list is broken") as refusal:
        in_order(lab, lambda order: order[:-1])
    (said,) = map(str, refusal.value.problems)
    assert said == (
        "Position 12: no continuing calibration verification (CHECK) stands after the last test solution of the block."
        " Put one in behind it."
    )
    run = in_order(lab, lambda order: order[:-1], reason="the plasma is off at six")
    assert len(record_of(run)["broken rules"]) == 1  # type: ignore[arg-type]
    assert event_of(run)["why"] == "the plasma is off at six"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        pytest.param(lambda o: [*o, "p999999"], "names p999999, which is not in this plan", id="another portion"),
        pytest.param(lambda o: [*o, "c9"], "names c9, which is not in this plan", id="another control sample"),
        pytest.param(lambda o: [*o, "drop table"], "“drop table” names nothing", id="no key"),
        pytest.param(lambda o: [k for k in o if k != o[6]], "not in the run list: B26-0002 RM2", id="one left out"),
        pytest.param(lambda o: [*o[:7], *o[6:]], "B26-0002 RM2 stands at position 7 already", id="one twice"),
    ],
)
def test_an_order_that_cannot_be(lab: Laboratory, change: Callable[[list[str]], list[str]], says: str) -> None:
    with pytest.raises(BadInput, match=says):
        in_order(lab, change, reason="no reason helps")


def test_the_initial_verification_needs_a_second_source(lab: Laboratory) -> None:
    """EPA Method 6010D (2018): the initial verification is made from another source than the standards."""
    quality = lab.people["quality manager"]
    stock = register_lot(
        by=quality, at=NOW, number="L-9000", received_on=date(2026, 1, 5), expires_on=date(2027, 12, 5),
        material=register_material(by=quality, at=NOW, code="STOCK", name="stock", kind=MaterialKind.STANDARD),
    )  # fmt: skip
    for code, level in (("STD-3", 10.0), ("CHECK", 5.0)):
        register_lot(
            by=quality, at=NOW, number=f"N-{code}", material=Material.objects.get(code=code), made_from=stock,
            received_on=date(2026, 2, 5), expires_on=date(2027, 1, 5),
            contents=[{"element": element, "value": level, "unit": "mg/L"} for element in CONTENT],
        )  # fmt: skip
    with pytest.raises(BadInput) as refusal:
        a_planned_run(lab)
    assert "ICV 1 (lot N-CHECK) and the standards come from one lot, L-9000" in str(refusal.value.problems[0])


# ---------------------------------------------------------------- what may be measured


def test_an_expired_standard_stops_the_plan_until_somebody_allows_it(lab: Laboratory) -> None:
    Lot.objects.filter(material__code="STD-1").update(expires_on=date(2026, 11, 1))
    with pytest.raises(BadInput, match="No lot of STD-1 is valid on 2026-11-16"):
        a_planned_run(lab)
    assert not Run.objects.exists()
    lot = Lot.objects.get(material__code="STD-1")
    allow_override(
        by=lab.people["quality manager"], at=lab.later(), reason="checked against the new one",
        kind=OverrideKind.EXPIRED_LOT, lot=lot,
    )  # fmt: skip
    run = a_planned_run(lab)
    assert "checked against the new one" in str(record_of(run)["overrides"])


def test_an_overdue_instrument_is_used_only_where_somebody_allows_it(lab: Laboratory) -> None:
    record_equipment_check(
        by=lab.people["quality manager"], at=lab.later(), equipment=lab.spectrometer, done_on=date(2026, 11, 15),
        due_on=date(2026, 12, 15), what="wavelength check", passed=False,
    )  # fmt: skip
    batch = a_weighed_batch(lab, a_submission(lab))
    with pytest.raises(BadInput, match="have it allowed for today"):
        planned(lab, portions_of(batch), reason="a reason alone is not enough")
    allow_override(
        by=lab.people["quality manager"], at=lab.later(), reason="only Pb is off", equipment=lab.spectrometer,
        kind=OverrideKind.OVERDUE_EQUIPMENT,
    )  # fmt: skip
    assert "only Pb is off" in str(record_of(planned(lab, portions_of(batch)))["overrides"])


def test_a_portion_that_was_not_weighed_cannot_be_measured(lab: Laboratory) -> None:
    batch = a_weighed_batch(lab, a_submission(lab, 1, names=["a"]))
    other = a_submission(lab, 1, names=["b"])
    unweighed = begin_batch(
        by=lab.people["preparer"], at=lab.later(), method_version=lab.version, samples=list(other.samples.all()),
        caution_read=True,
    )  # fmt: skip
    with pytest.raises(BadInput, match="Nothing is recorded yet of"):
        a_run(lab, batch, unweighed)


def test_a_run_needs_a_test_solution(lab: Laboratory) -> None:
    with pytest.raises(BadInput, match="at least one test solution"):
        planned(lab, [])
