"""Weighings: masses with a window, made up and diluted; nothing half-recorded, nothing twice, nothing lost."""

import json
from datetime import date

import pytest

from labresults.actions.batches import begin_batch
from labresults.actions.materials import record_equipment_check, register_lot, register_material
from labresults.actions.methods import add_method_version
from labresults.actions.overrides import allow_override
from labresults.actions.requests import change_request
from labresults.actions.weighings import Weighed, record_weighings
from labresults.acts import BadInput, WrongState
from labresults.models import AuditEvent, Equipment, Lot, MethodVersion, PreparationBatch, Weighing
from labresults.queries.contents import added_contents, expected_contents
from labresults.queries.forward_pages import touched_by_lot
from labresults.queries.run_portions import portion_of
from labresults.terms import Basis, MaterialKind, OverrideKind, Role, SolutionKind, State
from tests.builders import NOW, Laboratory, a_method, a_submission, a_weighed_batch


def a_batch(lab: Laboratory, count: int = 3, version: MethodVersion | None = None) -> PreparationBatch:
    return begin_batch(
        by=lab.people["preparer"], at=lab.later(), method_version=version or lab.version, caution_read=True,
        samples=list(a_submission(lab, count).samples.order_by("ordinal")),
    )  # fmt: skip


def record(
    lab: Laboratory, batch: PreparationBatch, *rows: Weighed, balance: Equipment | None = None, by: str = "preparer"
) -> list[Weighing]:
    return record_weighings(by=lab.people[by], at=lab.later(), batch=batch, rows=rows, balance=balance)


def refused(lab: Laboratory, batch: PreparationBatch, *rows: Weighed) -> list[str]:
    """What was said, row by row; nothing was recorded."""
    before = Weighing.objects.count()
    with pytest.raises(BadInput) as refusal:
        record(lab, batch, *rows)
    assert Weighing.objects.count() == before
    return [str(problem) for problem in refusal.value.problems]


def a_spiking_version(lab: Laboratory, kind: SolutionKind = SolutionKind.MASS_IN_VOLUME) -> MethodVersion:
    """Copper, by a method that spikes with 1 mL of a solution of 100 mg/L; its current lot is SP-2."""
    quality = lab.people["quality manager"]
    spike = register_material(by=quality, at=NOW, code="SPIKE", name="spiking solution", kind=MaterialKind.STANDARD)
    for number, day in (("SP-1", 5), ("SP-2", 6)):
        register_lot(
            by=quality, at=NOW, number=number, material=spike, received_on=date(2026, 1, day),
            expires_on=date(2027, 1, 5), contents=[{"element": "Cu", "value": 100.0, "unit": "mg/L"}],
        )  # fmt: skip
    by_mass = kind == SolutionKind.MASS_IN_MASS
    return add_method_version(
        by=quality, at=NOW, code="SP-1", title="Spiked", area="geochemistry", valid_from=date(2026, 1, 1),
        matrices=["soil"], lines=[], criteria=[], standards=[],
        determinations=[{"element": "Cu", "unit": "mg/kg"}, {"element": "Pb", "unit": "mg/kg"}],
        version={
            "what_was_done": "dissolved", "dissolution": "aqua regia", "solution_kind": kind,
            "solution_unit": "mg/kg" if by_mass else "mg/L", "blank_rule": "judged, not subtracted",
            "weights_edition": "CIAAW 2024", "uncertainty_basis": "stated",
        },
        controls=[
            {"in_batch": True, "role": Role.REFERENCE_MATERIAL, "material": "GC-17"},
            {"in_batch": True, "role": Role.SPIKE, "material": "SPIKE", "spike_mL": 1.0},
        ],
    )  # fmt: skip


# ------------------------------------------------------------ one tube


@pytest.mark.parametrize(
    ("row", "says"),
    [
        pytest.param(Weighed("KF26-99999", 0.5, 50.0), "not in this batch", id="unknown label"),
        pytest.param(Weighed("KF26-00001", 0.2714, 50.0), "outside 0.45 to 0.55 g", id="outside the window"),
        pytest.param(Weighed("KF26-00001", 0.5, 100.0), "100 mL is not the 50 mL", id="another flask"),
        pytest.param(
            Weighed("KF26-00001", 0.5, final_g=25.5, solution_kg_per_L=1.02),
            "25 mL is not the 50 mL",
            id="half of it, by mass",
        ),
        pytest.param(Weighed("KF26-00001", None, 50.0), "has none", id="no mass"),
        pytest.param(Weighed("KF26-00001", 0.5, None), "has none", id="no volume"),
        pytest.param(Weighed("KF26-00001", 0.5, 50.0, dilution="1:10"), "1:10", id="ambiguous dilution"),
        pytest.param(
            Weighed("KF26-00001", 0.5, 50.0, dilution="5 mL to 50 mL = x 5"), "give × 10, and × 5", id="typed factor"
        ),
        pytest.param(Weighed("KF26-00001", 0.5, 50.0, dilution="2 mL to 20 g"), "density", id="volume to mass"),
        pytest.param(Weighed("KF26-00001", 0.5, 50.0, dilution="1 + 9, " * 40), "200 signs", id="endless dilution"),
        pytest.param(Weighed("KF26-00001", 0.5, final_g=51.0), "density in kg/L too", id="final mass, no density"),
        pytest.param(
            Weighed("KF26-00001", 0.5, 50.0, final_g=52.0, solution_kg_per_L=1.02),
            "are 50.9804 mL, and 50.0 mL is given",
            id="volume and mass disagree",
        ),
        pytest.param(Weighed("KF26-00001", -0.5, 50.0, reason="x"), "-0.5 cannot be", id="negative mass"),
        pytest.param(Weighed("KF26-00001", 0.5, float("inf")), "inf cannot be", id="endless volume"),
        pytest.param(Weighed("KF26-00001", 0.5, 50.0, moisture_percent=100.0), "100.0 cannot be", id="all water"),
        pytest.param(Weighed("KF26-00001", 0.5, 50.0, tare_g=-0.1), "-0.1 cannot be", id="negative tare"),
        pytest.param(Weighed("KF26-00001", 0.5, 50.0, spike_mL=1.0), "is not spiked", id="spiked where none is"),
        pytest.param(
            Weighed("KF26-00001", 0.5, 50.0, internal_standard_g=0.1), "its lot and its mass", id="standard, no lot"
        ),
        pytest.param(
            Weighed("KF26-00001", 0.5, 50.0, internal_standard_g=0.1, internal_standard_lot="L-1"),
            "There is no lot L-1",
            id="unknown lot",
        ),
        pytest.param(Weighed("KF26-00002", 0.5, 50.0), "KF26-00002 is in row 1 already", id="twice in one file"),
    ],
)
def test_a_bad_weighing_is_named_and_nothing_is_recorded(lab: Laboratory, row: Weighed, says: str) -> None:
    (said,) = refused(lab, a_batch(lab), Weighed("KF26-00002", 0.5, 50.0), row)
    assert said.startswith("row 2")
    assert says in said


def test_a_mass_outside_the_window_is_kept_with_a_reason(lab: Laboratory) -> None:
    (made,) = record(lab, a_batch(lab), Weighed("KF26-00001", 0.2714, 50.0, reason="all that was left"))
    assert made.reason == "all that was left"


def test_another_final_volume_is_kept_with_a_reason(lab: Laboratory) -> None:
    (made,) = record(lab, a_batch(lab), Weighed("KF26-00001", 0.5, 100.0, reason="no flask of 50 mL was clean"))
    assert (made.volume_mL, made.reason) == (100.0, "no flask of 50 mL was clean")


def test_a_method_that_states_no_volume_takes_any(lab: Laboratory) -> None:
    version = a_method(lab.people["quality manager"], "SX-1", volume_mL=None)
    (made,) = record(lab, a_batch(lab, version=version), Weighed("KF26-00001", 0.5, 137.0))
    assert made.volume_mL == 137.0


@pytest.mark.parametrize(
    ("written", "factor"),
    [
        ("1 + 9", 10.0),
        ("1 in 10", 10.0),
        ("x 5", 5.0),
        ("1 in 10, 1 in 5", 50.0),
        ("", 1.0),
        ("5 mL to 50 mL, 1.002 g to 10.015 g = x 100", 100150 / 1002),
    ],
)
def test_a_dilution_is_written_as_a_convention_and_its_factor_kept(
    lab: Laboratory, written: str, factor: float
) -> None:
    (made,) = record(lab, a_batch(lab), Weighed("KF26-00001", 0.5, 50.0, dilution=written))
    assert made.dilution == factor
    assert made.dilution_written == written


def test_a_solution_made_up_by_mass_has_its_volume_from_its_density(lab: Laboratory) -> None:
    (made,) = record(lab, a_batch(lab), Weighed("KF26-00001", 0.5, final_g=52.1, solution_kg_per_L=1.02, tare_g=12.3))
    made.refresh_from_db()
    assert (made.final_g, made.solution_kg_per_L, made.volume_mL) == (52.1, 1.02, 52.1 / 1.02)
    assert made.tare_g == 12.3


# ------------------------------------------------------------ again, twice, meanwhile


def test_a_correction_is_a_newer_row_with_a_reason(lab: Laboratory) -> None:
    batch = a_weighed_batch(lab, a_submission(lab))
    (said,) = refused(lab, batch, Weighed("KF26-00001", 0.51, 50.0))
    assert "recorded before" in said

    record(lab, batch, Weighed("KF26-00001", 0.51, 50.0, reason="misread"))

    kept = Weighing.objects.filter(portion__label="KF26-00001").order_by("version").values_list("version", "mass_g")
    assert list(kept) == [(1, 0.5), (2, 0.51)]


def all_rows(batch: PreparationBatch, mass_g: float = 0.5) -> list[Weighed]:
    return [
        Weighed(p.label, None if p.role == Role.METHOD_BLANK else mass_g, 50.0) for p in batch.portions.order_by("tube")
    ]


def test_the_same_rows_sent_twice_are_recorded_once(lab: Laboratory) -> None:
    batch = a_batch(lab)
    record(lab, batch, *all_rows(batch), balance=lab.balance)
    with pytest.raises(WrongState, match="All 6 tubes are recorded already with these values; nothing was recorded ag"):
        record(lab, batch, *all_rows(batch), balance=lab.balance)
    with pytest.raises(WrongState, match="This tube is recorded already"):
        record(lab, batch, all_rows(batch)[2])
    assert Weighing.objects.count() == 6
    assert AuditEvent.objects.filter(act="record_weighings").count() == 1


def test_only_what_is_new_of_a_file_is_recorded_and_the_record_says_how_much_was_there(lab: Laboratory) -> None:
    batch = a_batch(lab)
    rows = all_rows(batch)
    record(lab, batch, *rows[:4])
    made = record(lab, batch, *rows)
    assert [row.portion.label for row in made] == [row.label for row in rows[4:]]
    assert json.loads(AuditEvent.objects.latest("seq").content)["after"]["recorded already"] == 4


def test_the_same_dilution_in_other_words_is_nothing_new(lab: Laboratory) -> None:
    batch = a_batch(lab)
    record(lab, batch, Weighed("KF26-00001", 0.5, 50.0, dilution="1 + 9"))
    with pytest.raises(WrongState, match="recorded already"):
        record(lab, batch, Weighed("KF26-00001", 0.5, 50.0, dilution="5 mL to 50 mL"))


def test_another_balance_is_something_new(lab: Laboratory) -> None:
    batch = a_batch(lab)
    record(lab, batch, Weighed("KF26-00001", 0.5, 50.0))
    record(lab, batch, Weighed("KF26-00001", 0.5, 50.0, reason="balance forgotten"), balance=lab.balance)
    newest = Weighing.objects.get(version=2)
    assert newest.balance == lab.balance
    assert newest.balance_check == lab.balance.checks.get()


def test_a_tube_that_somebody_recorded_meanwhile_is_not_written_over(lab: Laboratory) -> None:
    # given both looked at an empty tube (0), and the first recorded it
    batch = a_batch(lab)
    record(lab, batch, Weighed("KF26-00001", 0.5012, 50.0, seen_version=0))
    # when the second sends another mass for it, beside one for an empty tube, even with a reason
    mine = [
        Weighed("KF26-00002", 0.5, 50.0, seen_version=0),
        Weighed("KF26-00001", 0.4987, 50.0, seen_version=0, reason="x"),
    ]
    # then who, when and what are said, and nothing is recorded
    (said,) = refused(lab, batch, *mine)
    assert said.startswith("row 2, column label: KF26-00001 was recorded by Preparer Person meanwhile, 16 Nov 2026")
    assert "mass_g 0.5012, volume_mL 50.0" in said
    # when it is sent again by somebody who saw the first recording, with a reason, it is a correction
    record(lab, batch, mine[0], Weighed("KF26-00001", 0.4987, 50.0, seen_version=1, reason="weighed again"))
    assert Weighing.objects.filter(portion__label="KF26-00001").count() == 2


def test_the_same_recorded_meanwhile_by_somebody_else_is_nothing_new(lab: Laboratory) -> None:
    batch = a_batch(lab)
    record(lab, batch, Weighed("KF26-00001", 0.5012, 50.0, seen_version=0))
    (made,) = record(
        lab, batch,
        Weighed("KF26-00001", 0.5012, 50.0, seen_version=0), Weighed("KF26-00002", 0.5, 50.0, seen_version=0),
    )  # fmt: skip
    assert made.portion.label == "KF26-00002"


# ------------------------------------------------------------ balances and lots


def test_an_overdue_balance_is_refused_until_somebody_lets_it_be_used_by_name(lab: Laboratory) -> None:
    batch = a_batch(lab)
    check = record_equipment_check(
        by=lab.people["quality manager"], at=lab.later(), equipment=lab.balance, done_on=date(2026, 11, 15),
        due_on=date(2026, 12, 15), what="check weight", passed=False,
    )  # fmt: skip
    row = Weighed("KF26-00001", 0.5, 50.0, reason="checked by hand")
    with pytest.raises(BadInput, match=r"B2 is overdue.*analyst, laboratory manager or quality manager may"):
        record(lab, batch, row, balance=lab.balance)
    allow_override(
        by=lab.people["analyst"], at=lab.later(), reason="checked with weight W4",
        kind=OverrideKind.OVERDUE_EQUIPMENT, equipment=lab.balance,
    )  # fmt: skip
    (made,) = record(lab, batch, row, balance=lab.balance)
    assert made.balance_check == check
    assert "B2 overdue equipment: Analyst Person, checked with weight W4" in AuditEvent.objects.latest("seq").content
    lab.later(24)
    with pytest.raises(BadInput, match="overdue"):
        record(lab, batch, Weighed("KF26-00002", 0.5, 50.0), balance=lab.balance)


# ------------------------------------------------------------ spikes


@pytest.fixture
def spiked(lab: Laboratory) -> PreparationBatch:
    return a_batch(lab, 2, a_spiking_version(lab))


def test_a_spike_is_recorded_as_planned_with_the_current_lot(lab: Laboratory, spiked: PreparationBatch) -> None:
    (made,) = record(lab, spiked, Weighed("KF26-00001 S", 0.5, 50.0))
    assert (made.spike_mL, made.spike_lot.number) == (1.0, "SP-2")


def test_a_spike_is_recorded_as_it_was_added_and_a_correction_keeps_it(
    lab: Laboratory, spiked: PreparationBatch
) -> None:
    record(lab, spiked, Weighed("KF26-00001 S", 0.5, 50.0, spike_mL=0.95, spike_lot="SP-1"))
    (made,) = record(lab, spiked, Weighed("KF26-00001 S", 0.51, 50.0, reason="misread"))
    assert (made.spike_mL, made.spike_lot.number) == (0.95, "SP-1")


def test_a_spike_of_another_material_is_refused(lab: Laboratory, spiked: PreparationBatch) -> None:
    (said,) = refused(lab, spiked, Weighed("KF26-00001 S", 0.5, 50.0, spike_lot="L-2300"))
    assert "L-2300 is CHECK, invented; the method spikes with spiking solution" in said


def test_an_expired_spike_needs_an_override_of_the_day(lab: Laboratory, spiked: PreparationBatch) -> None:
    Lot.objects.filter(number="SP-1").update(expires_on=date(2026, 11, 1))
    row = Weighed("KF26-00001 S", 0.5, 50.0, spike_lot="SP-1")
    with pytest.raises(BadInput, match="Expired: SP-1"):
        record(lab, spiked, row)
    allow_override(
        by=lab.people["laboratory manager"], at=lab.later(), reason="compared with SP-2",
        kind=OverrideKind.EXPIRED_LOT, lot=Lot.objects.get(number="SP-1"),
    )  # fmt: skip
    assert record(lab, spiked, row)[0].spike_lot.number == "SP-1"


def test_a_mass_is_corrected_after_its_spike_has_expired(lab: Laboratory, spiked: PreparationBatch) -> None:
    record(lab, spiked, Weighed("KF26-00001 S", 0.5, 50.0))
    Lot.objects.filter(number="SP-2").update(expires_on=date(2026, 11, 1))
    (made,) = record(lab, spiked, Weighed("KF26-00001 S", 0.51, 50.0, reason="misread"))
    assert (made.mass_g, made.spike_lot.number) == (0.51, "SP-2")


def test_added_content_stands_in_the_unit_of_the_report(lab: Laboratory, spiked: PreparationBatch) -> None:
    # given 0.95 mL of 100 mg/L, that is 0.095 mg of copper, in 0.5 g
    (made,) = record(lab, spiked, Weighed("KF26-00001 S", 0.5, 50.0, spike_mL=0.95))
    # when it is asked what was added, then 190 mg/kg of copper and nothing of lead
    (held,) = added_contents([(made.portion, made)], spiked.method_version)[made.portion_id]
    assert (held.reported_as, held.unit, held.words) == ("Cu", "mg/kg", "added, as received")
    assert held.value == pytest.approx(190.0, rel=1e-12)


def test_added_content_on_the_dry_basis_needs_the_moisture(lab: Laboratory, spiked: PreparationBatch) -> None:
    (made,) = record(lab, spiked, Weighed("KF26-00001 S", 0.5, 50.0))
    change_request(
        by=lab.people["reception"], at=lab.later(), reason="asked by telephone",
        submission=made.portion.subsample.sample.submission,
        methods=[lab.method], basis=Basis.DRY, due_on=date(2026, 12, 1), agreed_with="A",
    )  # fmt: skip
    (held,) = added_contents([(made.portion, made)], spiked.method_version)[made.portion_id]
    assert held.value is None
    assert "loss on drying" in held.words


def test_expected_contents_of_a_reference_material(lab: Laboratory, spiked: PreparationBatch) -> None:
    material = spiked.portions.get(role=Role.REFERENCE_MATERIAL)
    held = expected_contents([material], spiked.method_version)[material.pk]
    assert [(one.reported_as, one.value, one.unit, one.words) for one in held] == [
        ("Cu", 120.0, "mg/kg", "certified"),
        ("Pb", 35.0, "mg/kg", "certified"),
    ]


# ------------------------------------------------------------ diluted by mass, with an internal standard


@pytest.mark.parametrize(
    ("row", "solvent_g"),
    [
        (Weighed("KF26-00001", 5.0, solvent_g=44.5), 44.5),
        (Weighed("KF26-00001", 5.0, final_g=50.0), 45.0),
        (Weighed("KF26-00001", 5.0, final_g=50.0, internal_standard_g=0.5, internal_standard_lot="L-2300"), 44.5),
    ],
)
def test_the_solvent_of_a_portion_diluted_by_mass(lab: Laboratory, row: Weighed, solvent_g: float) -> None:
    batch = a_batch(lab, 2, a_spiking_version(lab, SolutionKind.MASS_IN_MASS))
    (made,) = record(lab, batch, row)
    assert made.solvent_g == solvent_g


def test_an_internal_standard_belongs_to_the_mass_of_the_solution(lab: Laboratory) -> None:
    # given 5 g of oil, 44.5 g of solvent and 0.5 g of internal standard
    version = a_spiking_version(lab, SolutionKind.MASS_IN_MASS)
    row = Weighed("KF26-00001", 5.0, solvent_g=44.5, internal_standard_g=0.5, internal_standard_lot="L-2300")
    (made,) = record(lab, a_batch(lab, 2, version), row)
    assert (made.internal_standard_lot.number, made.internal_standard_g) == ("L-2300", 0.5)
    # then the calculation sees 45 g around the oil: w = c × 50 / 5
    assert portion_of(made.portion, made, version, {}, None).solvent_g == 45.0
    # and its lot stands in the batch, measured or not
    assert touched_by_lot("L-2300").batches == 1


def test_the_state_when_weighed_is_kept(lab: Laboratory) -> None:
    (made,) = record(lab, a_batch(lab), Weighed("KF26-00001", 0.5, 50.0, state=State.AIR_DRY, moisture_percent=2.5))
    assert (made.state, made.moisture_percent) == (State.AIR_DRY, 2.5)
