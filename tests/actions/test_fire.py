"""Fire assay: crucibles, buttons and beads of a batch, and the silver that was added."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from labresults.actions.fire import Fired, record_fire_charges
from labresults.actions.materials import register_lot, register_material
from labresults.acts import BadInput, WrongState
from labresults.models import FireCharge, Lot, PreparationBatch
from labresults.queries.run_portions import known_portions, seen_by
from labresults.terms import MaterialKind
from tests.builders import NOW, Laboratory, a_method, a_run, a_submission, a_weighed_batch, an_evaluated_run


def a_lot(lab: Laboratory, number: str, kind: MaterialKind, expires_on: date = date(2027, 1, 1)) -> Lot:
    quality = lab.people["quality manager"]
    material = register_material(by=quality, at=NOW, code=f"M-{number}", name=f"{number}, invented", kind=kind)
    return register_lot(
        by=quality, at=NOW, number=number, material=material, received_on=date(2026, 1, 5), expires_on=expires_on,
        contents=[],
    )  # fmt: skip


@pytest.fixture
def tray(lab: Laboratory) -> dict[str, Any]:
    return {
        "tray": "T1",
        "flux_lot": a_lot(lab, "F-7", MaterialKind.REAGENT),
        "collector_lot": a_lot(lab, "AG-1", MaterialKind.STANDARD),
    }


@pytest.fixture
def batch(lab: Laboratory) -> PreparationBatch:
    """A batch whose method wants buttons of 25 to 45 g."""
    lab.version = a_method(lab.people["quality manager"], "FA-1", button_low_g=25.0, button_high_g=45.0)
    lab.method = lab.version.method
    return a_weighed_batch(lab, a_submission(lab, 2))


def crucibles(batch: PreparationBatch, **more: Any) -> list[Fired]:
    labels = batch.portions.order_by("tube").values_list("label", flat=True)
    return [Fired(label, place, flux_g=120.0, button_g=32.0, **more) for place, label in enumerate(labels, start=1)]


def record(lab: Laboratory, batch: PreparationBatch, rows: list[Fired], tray: dict[str, Any]) -> list[FireCharge]:
    return record_fire_charges(by=lab.people["preparer"], at=lab.later(), batch=batch, rows=rows, **tray)


def test_a_tray_is_recorded_whole(lab: Laboratory, batch: PreparationBatch, tray: dict[str, Any]) -> None:
    made = record(lab, batch, crucibles(batch), tray)
    assert [charge.crucible for charge in made] == list(range(1, len(made) + 1))
    assert {charge.flux_lot.number for charge in made} == {"F-7"}
    assert {charge.collector_lot for charge in made} == {None}  # none was added
    with pytest.raises(WrongState, match="recorded already"):
        record(lab, batch, crucibles(batch), tray)
    assert FireCharge.objects.count() == len(made)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"button_g": 24.9}, "below 25"),
        ({"button_g": 45.1}, "reduce the charge"),
        ({"crucible": 1}, "Crucible 1 holds"),
        ({"label": "KF26-99999"}, "not in this batch"),
        ({"flux_g": 0.0}, "flux cannot be"),
    ],
)
def test_what_is_wrong_is_said_at_its_row(
    lab: Laboratory, batch: PreparationBatch, tray: dict[str, Any], change: dict[str, Any], says: str
) -> None:
    rows = crucibles(batch)
    rows[2] = replace(rows[2], **change)
    with pytest.raises(BadInput) as refusal:
        record(lab, batch, rows, tray)
    assert [problem.row for problem in refusal.value.problems] == [3]
    assert says in str(refusal.value.problems[0])
    assert not FireCharge.objects.exists()


def test_a_light_button_is_kept_with_a_reason(lab: Laboratory, batch: PreparationBatch, tray: dict[str, Any]) -> None:
    rows = crucibles(batch)
    rows[2] = replace(rows[2], button_g=24.9, reason="slag looked clean; kept for the duplicate")
    assert record(lab, batch, rows, tray)[2].reason.startswith("slag")


def test_fired_again_stands_beside_the_first(lab: Laboratory, batch: PreparationBatch, tray: dict[str, Any]) -> None:
    rows = crucibles(batch)
    record(lab, batch, rows, tray)
    again = replace(rows[2], button_g=30.0, is_refired=True, reason="slag was green", seen_version=1)
    [made] = record(lab, batch, [again], tray)
    assert (made.version, made.is_refired) == (2, True)
    # and somebody who saw only the first is told
    with pytest.raises(BadInput) as refusal:
        record(lab, batch, [replace(again, button_g=31.0)], tray)
    assert "meanwhile" in str(refusal.value.problems[0])


def test_an_expired_flux_is_refused(lab: Laboratory, batch: PreparationBatch, tray: dict[str, Any]) -> None:
    old = a_lot(lab, "F-1", MaterialKind.REAGENT, expires_on=date(2026, 6, 1))
    with pytest.raises(BadInput, match="Expired: F-1"):
        record(lab, batch, crucibles(batch), tray | {"flux_lot": old})


def test_silver_needs_its_lot(lab: Laboratory, batch: PreparationBatch, tray: dict[str, Any]) -> None:
    with pytest.raises(BadInput) as refusal:
        record(lab, batch, crucibles(batch, collector_mg=5.0), tray | {"collector_lot": None})
    assert "no lot is named" in str(refusal.value.problems[0])


def test_a_bead_that_silver_was_added_to_says_nothing_of_silver(
    lab: Laboratory, batch: PreparationBatch, tray: dict[str, Any]
) -> None:
    # given a run of the batch, and silver added to its third crucible
    run = a_run(lab, batch)
    rows = crucibles(batch)
    rows[2] = replace(rows[2], collector_mg=5.0)
    charges = record(lab, batch, rows, tray)
    # when the run is loaded for its evaluation
    positions = list(run.positions.select_related("portion__batch", "portion__subsample__sample", "lot"))
    known = known_portions(run, positions)
    refused = {p.label: known.portion(p).refused for p in positions if p.portion_id}
    # then that portion alone refuses silver, in words, and the crucible is among what was seen
    assert [label for label, elements in refused.items() if elements] == [rows[2].label]
    assert "collector" in refused[rows[2].label]["Ag"]
    assert known.seen.last_fire_charge == charges[-1].pk


def test_an_evaluation_from_before_does_not_see_a_later_crucible(lab: Laboratory, tray: dict[str, Any]) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab, 1))
    batch = PreparationBatch.objects.get()
    record(lab, batch, crucibles(batch, collector_mg=5.0), tray)
    positions = list(evaluation.run.positions.select_related("portion__batch", "portion__subsample__sample", "lot"))
    assert not known_portions(evaluation.run, positions, seen_by(evaluation)).silver_added
    assert known_portions(evaluation.run, positions).silver_added
