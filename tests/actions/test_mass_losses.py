"""Moisture and loss on ignition: recorded by weighing, and what they do to a result on the dry basis."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from labresults.actions.evaluation import compute_again, evaluate_run, inputs_digest, outputs_digest
from labresults.actions.mass_losses import Heated, record_mass_losses
from labresults.actions.materials import record_equipment_check, register_equipment
from labresults.actions.requests import change_request
from labresults.acts import BadInput, WrongState
from labresults.models import AuditEvent, MassLoss, Result
from labresults.queries.mass_losses import waiting_for_moisture
from labresults.terms import Basis, EquipmentKind, MassLossKind, State
from tests.builders import (
    Laboratory,
    a_method,
    a_run,
    a_submission,
    a_weighed_batch,
    an_evaluated_run,
    an_imported_file,
)

LEAF = {"tare_g": 21.4382, "before_g": 26.6127, "after_g": 22.7794}
"""Dish, dish and fresh leaf, dish and dry leaf, g: a loss of 3.8333 g of 5.1745 g (invented)."""


def record(lab: Laboratory, *rows: Heated, kind: MassLossKind = MassLossKind.MOISTURE, **more: Any) -> list[MassLoss]:
    return record_mass_losses(
        by=lab.people["preparer"], at=lab.later(), kind=kind, rows=rows, temperature_C=105.0,
        **{"balance": lab.balance} | more,
    )  # fmt: skip


def numbers(lab: Laboratory, count: int = 2) -> list[str]:
    return [sample.number for sample in a_submission(lab, count).samples.order_by("ordinal")]


def on_the_dry_basis(lab: Laboratory, submission: Any) -> None:
    change_request(
        by=lab.people["reception"], at=lab.later(), reason="asked for it dry", submission=submission,
        methods=[lab.method], basis=Basis.DRY, due_on=date(2026, 11, 30), agreed_with="A. Roth",
    )  # fmt: skip


def test_the_loss_is_computed_from_the_masses_and_kept_unrounded(lab: Laboratory) -> None:
    # given two samples; when two dishes are recorded, one of them weighed again
    first, second = numbers(lab)
    made = record(lab, Heated(first, **LEAF), Heated(second, **LEAF, again_g=22.7788))
    # then the losses are those of the last masses, to the last bit, and stand on the balance's check
    assert [loss.loss_percent for loss in made] == [
        100 * (26.6127 - 22.7794) / (26.6127 - 21.4382),
        100 * (26.6127 - 22.7788) / (26.6127 - 21.4382),
    ]
    assert {loss.balance_check for loss in made} == {lab.balance.checks.get()}
    assert AuditEvent.objects.latest("seq").act == "record_mass_losses"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"after_g": 27.0}, "exchanged"),
        ({"after_g": 20.0}, "another dish"),
        ({"before_g": 21.4382}, "was it put in"),
        ({"again_g": 22.70}, "Heat again until it is constant"),
        ({"number": "KF26-99999"}, "There is no sample"),
    ],
)
def test_what_cannot_be_is_refused_at_its_row_and_nothing_is_recorded(
    lab: Laboratory, change: dict[str, Any], says: str
) -> None:
    first, second = numbers(lab)
    with pytest.raises(BadInput) as refusal:
        record(lab, Heated(first, **LEAF), replace(Heated(second, **LEAF), **change))
    assert [problem.row for problem in refusal.value.problems] == [2]
    assert says in str(refusal.value.problems[0])
    assert not MassLoss.objects.exists()


def test_a_mass_that_is_not_constant_is_kept_with_a_reason(lab: Laboratory) -> None:
    first, _ = numbers(lab)
    [made] = record(lab, Heated(first, **LEAF, again_g=22.70, reason="oven failed; the rest of the sample is gone"))
    assert made.reason.startswith("oven failed")


def test_the_same_dishes_twice_are_recorded_once(lab: Laboratory) -> None:
    rows = [Heated(number, **LEAF) for number in numbers(lab)]
    record(lab, *rows)
    with pytest.raises(WrongState, match="All 2 dishes are recorded already"):
        record(lab, *rows)
    # and with one more dish, only that one is new
    third = Heated(numbers(lab, 1)[0], **LEAF)
    assert [loss.subsample.sample.number for loss in record(lab, *rows, third)] == [third.number]
    assert MassLoss.objects.count() == 3


def test_a_dish_recorded_by_another_meanwhile_is_not_overwritten(lab: Laboratory) -> None:
    first, _ = numbers(lab)
    record(lab, Heated(first, **LEAF, seen_version=0))
    # when somebody sends other masses who saw none
    other = Heated(first, **LEAF | {"after_g": 22.8}, reason="mine", seen_version=0)
    with pytest.raises(BadInput) as refusal:
        record(lab, other)
    assert "meanwhile" in str(refusal.value.problems[0])
    # then it can be sent by somebody who saw the first, with a reason
    [made] = record(lab, replace(other, seen_version=1))
    assert made.version == 2


def test_a_correction_needs_a_reason_and_both_stay_on_record(lab: Laboratory) -> None:
    first, _ = numbers(lab)
    record(lab, Heated(first, **LEAF))
    with pytest.raises(BadInput) as refusal:
        record(lab, Heated(first, **LEAF | {"after_g": 22.8}))
    assert "Say why" in str(refusal.value.problems[0])
    record(lab, Heated(first, **LEAF | {"after_g": 22.8}, reason="misread"))
    assert list(MassLoss.objects.values_list("version", "after_g").order_by("version")) == [(1, 22.7794), (2, 22.8)]


def test_an_overdue_oven_is_refused(lab: Laboratory) -> None:
    quality = lab.people["quality manager"]
    oven = register_equipment(by=quality, at=lab.later(), code="O1", name="oven", kind=EquipmentKind.OVEN)
    record_equipment_check(
        by=quality, at=lab.later(), equipment=oven, done_on=date(2025, 1, 1), due_on=date(2026, 1, 1),
        what="105 °C", passed=True,
    )  # fmt: skip
    first, _ = numbers(lab)
    with pytest.raises(BadInput, match="O1 is overdue"):
        record(lab, Heated(first, **LEAF), oven=oven)


def test_a_recorded_moisture_carries_a_result_to_the_dry_basis(lab: Laboratory) -> None:
    # given a sample asked for on the dry basis, weighed as received without a moisture beside the mass
    submission = a_submission(lab, 1)
    on_the_dry_basis(lab, submission)
    sample = submission.samples.get()
    assert [dish.sample for dish in waiting_for_moisture()] == [sample]
    run = a_run(lab, a_weighed_batch(lab, submission))
    an_imported_file(lab, run)
    # when it is evaluated before its drying, there is no value, and the words say what is missing
    early = evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    result = Result.objects.get(evaluation=early, sample=sample, element="Cu", position__role="sample")
    assert result.value is None
    assert "loss on drying" in result.why_no_value
    # and after it, the value is the one as received over what is left
    [dried] = record(lab, Heated(sample.number, **LEAF))
    late = evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run, reason="dried now")
    result = Result.objects.get(evaluation=late, sample=sample, element="Cu", position__role="sample")
    assert result.value == pytest.approx(120.0 / (1 - dried.loss_percent / 100), rel=1e-6)
    assert not waiting_for_moisture()
    # and the old evaluation computed again still sees no drying
    for evaluation in (early, late):
        again = compute_again(evaluation)
        assert inputs_digest(again.loaded) == evaluation.inputs_sha256
        assert outputs_digest(again.evaluated) == evaluation.outputs_sha256


def test_the_moisture_of_another_state_is_not_used(lab: Laboratory) -> None:
    # given a portion weighed as received, and the moisture of the air-dry material only
    submission = a_submission(lab, 1)
    on_the_dry_basis(lab, submission)
    record(lab, Heated(submission.samples.get().number, **LEAF, state=State.AIR_DRY))
    evaluation = an_evaluated_run(lab, submission)
    # then it is refused, as if there were none
    result = Result.objects.get(evaluation=evaluation, element="Cu", position__role="sample")
    assert result.value is None
    assert "loss on drying" in result.why_no_value


def test_loss_on_ignition_stands_beside_moisture(lab: Laboratory) -> None:
    first, _ = numbers(lab)
    record(lab, Heated(first, **LEAF))
    [ignited] = record(lab, Heated(first, **LEAF, state=State.DRIED_105), kind=MassLossKind.IGNITION)
    assert ignited.version == 1
    assert MassLoss.objects.count() == 2


def test_the_water_of_a_moist_portion_adds_to_its_extractant(lab: Laboratory) -> None:
    # given a method that extracts, a field-moist soil of known moisture, 0.5 g of it in 50 mL
    lab.version = a_method(lab.people["quality manager"], "SX-1", is_extraction=True)
    lab.method = lab.version.method
    submission = a_submission(lab, 1)
    [dried] = record(lab, Heated(submission.samples.get().number, **LEAF))
    # when it is measured and evaluated
    evaluation = an_evaluated_run(lab, submission)
    # then the solution counts as the extractant and the portion's own water, 1 g of which is 1 mL
    result = Result.objects.get(evaluation=evaluation, element="Cu", position__role="sample")
    assert result.value == pytest.approx(120.0 * (50.0 + 0.5 * dried.loss_percent / 100) / 50.0, rel=1e-6)
