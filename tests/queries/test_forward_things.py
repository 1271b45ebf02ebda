"""Forward from each thing that stands in one place only: what it touched is found, and no more."""

from collections.abc import Callable
from datetime import date

import pytest

from labresults.actions.batches import add_reagents, begin_batch
from labresults.actions.evaluation import evaluate_run
from labresults.actions.fire import Fired, record_fire_charges
from labresults.actions.mass_losses import Heated, record_mass_losses
from labresults.actions.materials import record_equipment_check, register_equipment
from labresults.actions.weighings import Weighed, record_weighings
from labresults.models import Equipment, Evaluation, Lot, PreparationBatch, Result, Submission, Subsample
from labresults.queries.forward import Doubt, touched_results
from labresults.terms import DoubtKind, EquipmentKind, MassLossKind, MaterialKind, Role, SubsampleKind
from tests.builders import (
    NOW,
    Laboratory,
    a_certificate,
    a_lot_of,
    a_method,
    a_run,
    a_submission,
    a_weighed_batch,
    an_evaluated_run,
    an_imported_file,
    approved,
)

COPPER = [{"element": "Cu", "value": 100.0, "unit": "mg/L"}]
EVERYTHING, FIRST_SAMPLE = 4, 2
"""Results of copper and lead: of two samples, and of the first of them."""


def a_lot(lab: Laboratory, number: str, kind: MaterialKind = MaterialKind.STANDARD) -> Lot:
    return a_lot_of(
        lab.people["quality manager"], f"of {number}", number, kind, COPPER if kind == MaterialKind.STANDARD else []
    )


def an_item(lab: Laboratory, code: str, kind: EquipmentKind) -> Equipment:
    quality = lab.people["quality manager"]
    item = register_equipment(by=quality, at=NOW, code=code, name=code, kind=kind)
    record_equipment_check(
        by=quality, at=NOW, equipment=item, done_on=date(2026, 11, 1), due_on=date(2027, 2, 1), what="check",
        passed=True,
    )  # fmt: skip
    return item


def measured(lab: Laboratory, batch: PreparationBatch) -> Evaluation:
    run = a_run(lab, batch)
    an_imported_file(lab, run)
    return evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)


def first_label(batch: PreparationBatch) -> str:
    return str(batch.portions.filter(role=Role.SAMPLE).order_by("tube").first())


# ---- each way of a thing into two samples' results: given a submission, it is used in it, and the run is evaluated


def as_a_reagent(lab: Laboratory, submission: Submission) -> None:
    batch = a_weighed_batch(lab, submission)
    add_reagents(by=lab.people["preparer"], at=lab.later(), batch=batch, lots=[a_lot(lab, "L-1", MaterialKind.REAGENT)])
    measured(lab, batch)


def as_a_spike(lab: Laboratory, submission: Submission) -> None:
    """Into one tube of the batch, by which recovery of all its samples is judged."""
    a_lot(lab, "L-1")
    control = {"role": Role.SPIKE, "material": "of L-1", "in_batch": True, "spike_mL": 1.0}
    lab.version = a_method(lab.people["quality manager"], valid_from=date(2026, 2, 1), more_controls=[control])
    measured(lab, a_weighed_batch(lab, submission))


def fired_with(lab: Laboratory, submission: Submission, flux: Lot, collector: Lot) -> None:
    batch = a_weighed_batch(lab, submission)
    record_fire_charges(
        by=lab.people["preparer"], at=lab.later(), batch=batch, tray="T1", flux_lot=flux, collector_lot=collector,
        rows=[Fired(first_label(batch), 1, flux_g=100.0, button_g=30.0, collector_mg=5.0)],
    )  # fmt: skip
    measured(lab, batch)


def as_flux(lab: Laboratory, submission: Submission) -> None:
    fired_with(lab, submission, a_lot(lab, "L-1", MaterialKind.REAGENT), a_lot(lab, "L-2"))


def as_collector(lab: Laboratory, submission: Submission) -> None:
    fired_with(lab, submission, a_lot(lab, "L-2", MaterialKind.REAGENT), a_lot(lab, "L-1"))


def as_internal_standard(lab: Laboratory, submission: Submission) -> None:
    a_lot(lab, "L-1")
    batch = a_weighed_batch(lab, submission)
    row = Weighed(
        first_label(batch), 0.5, 50.0, internal_standard_g=0.1, internal_standard_lot="L-1", reason="weighed again"
    )
    record_weighings(by=lab.people["preparer"], at=lab.later(), batch=batch, balance=lab.balance, rows=[row])
    measured(lab, batch)


def as_a_standard_added_at_the_instrument(lab: Laboratory, submission: Submission) -> None:
    a_lot(lab, "L-1")
    control = {
        "role": Role.POST_DIGESTION_SPIKE, "material": "of L-1", "every": 20, "at_end": True, "spike_mL": 0.5,
        "made_up_mL": 10.0,
    }  # fmt: skip
    lab.version = a_method(lab.people["quality manager"], valid_from=date(2026, 2, 1), more_controls=[control])
    measured(lab, a_weighed_batch(lab, submission))


def heated(lab: Laboratory, submission: Submission, **used: Equipment) -> None:
    record_mass_losses(
        by=lab.people["preparer"], at=lab.later(), kind=MassLossKind.MOISTURE, temperature_C=105.0,
        rows=[Heated(submission.samples.get(ordinal=1).number, 20.0, 25.0, 24.9)], **used,
    )  # fmt: skip
    measured(lab, a_weighed_batch(lab, submission))


def as_an_oven(lab: Laboratory, submission: Submission) -> None:
    heated(lab, submission, oven=an_item(lab, "X1", EquipmentKind.OVEN), balance=lab.balance)


def as_the_balance_of_dishes(lab: Laboratory, submission: Submission) -> None:
    heated(lab, submission, balance=an_item(lab, "X1", EquipmentKind.BALANCE))


def as_a_crusher(lab: Laboratory, submission: Submission) -> None:
    sample = submission.samples.get(ordinal=1)
    Subsample.objects.create(
        sample=sample, parent=sample.subsamples.get(), kind=SubsampleKind.CRUSHED,
        equipment=an_item(lab, "X1", EquipmentKind.OVEN), made_by=lab.people["preparer"], made_at=lab.later(),
    )  # fmt: skip
    measured(lab, a_weighed_batch(lab, submission))


def as_the_balance_of_one_tube(lab: Laboratory, submission: Submission) -> None:
    """The others stand on the laboratory's usual one."""
    samples = list(submission.samples.order_by("ordinal"))
    batch = begin_batch(
        by=lab.people["preparer"], at=lab.later(), method_version=lab.version, samples=samples, caution_read=True
    )
    tubes = batch.portions.order_by("tube")
    rows = [Weighed(p.label, None if p.role == Role.METHOD_BLANK else 0.5, 50.0) for p in tubes]
    first = first_label(batch)
    for balance, of_it in ((lab.balance, False), (an_item(lab, "X1", EquipmentKind.BALANCE), True)):
        record_weighings(
            by=lab.people["preparer"], at=lab.later(), batch=batch, balance=balance,
            rows=[row for row in rows if (row.label == first) is of_it],
        )  # fmt: skip
    measured(lab, batch)


@pytest.mark.parametrize(
    ("use", "kind", "name", "touched"),
    [
        (as_a_reagent, DoubtKind.LOT, "L-1", EVERYTHING),
        (as_a_reagent, DoubtKind.MATERIAL, "of L-1", EVERYTHING),
        (as_a_spike, DoubtKind.LOT, "L-1", EVERYTHING),
        (as_flux, DoubtKind.LOT, "L-1", FIRST_SAMPLE),
        (as_collector, DoubtKind.LOT, "L-1", FIRST_SAMPLE),
        (as_internal_standard, DoubtKind.LOT, "L-1", FIRST_SAMPLE),
        (as_a_standard_added_at_the_instrument, DoubtKind.LOT, "L-1", EVERYTHING),
        (as_an_oven, DoubtKind.EQUIPMENT, "X1", FIRST_SAMPLE),
        (as_the_balance_of_dishes, DoubtKind.EQUIPMENT, "X1", FIRST_SAMPLE),
        (as_a_crusher, DoubtKind.EQUIPMENT, "X1", FIRST_SAMPLE),
        (as_the_balance_of_one_tube, DoubtKind.EQUIPMENT, "X1", FIRST_SAMPLE),
    ],
)
def test_a_thing_leads_to_what_it_was_used_in_and_no_further(
    use: Callable[[Laboratory, Submission], None], kind: DoubtKind, name: str, touched: int, lab: Laboratory
) -> None:
    # given a submission of two samples that the thing had no part in, and one that it was used in
    an_evaluated_run(lab, a_submission(lab, 2, names=["a", "b"]))
    submission = a_submission(lab, 2, names=["c", "d"])
    use(lab, submission)
    # when its results are looked for, then those of the second are found: all of them, or those of its first sample
    found = list(touched_results(Doubt(kind, name)).select_related("sample"))
    assert {row.sample.submission_id for row in found} == {submission.pk}
    assert len(found) == touched
    if touched == FIRST_SAMPLE:
        assert {row.sample.ordinal for row in found} == {1}


def test_a_lot_leads_to_what_was_touched_by_all_that_was_made_from_it(lab: Laboratory) -> None:
    # given a stock, of which a standard was made, of which the reagent was made
    quality = lab.people["quality manager"]
    submission = a_submission(lab, 1)
    stock = a_lot(lab, "L-STOCK")
    as_a_reagent(lab, submission)
    between = a_lot(lab, "L-BETWEEN")
    Lot.objects.filter(number="L-1").update(made_from=between)
    Lot.objects.filter(pk=between.pk).update(made_from=stock)
    assert touched_results(Doubt(DoubtKind.LOT, "L-STOCK")).count() == 2
    assert not touched_results(Doubt(DoubtKind.LOT, a_lot_of(
        quality, "other", "L-OTHER", MaterialKind.REAGENT, []).number))  # fmt: skip


@pytest.mark.parametrize(("is_printed", "found"), [(True, {1: 2, 2: 2}), (False, {2: 2})])
def test_what_a_certificate_prints_is_found_though_it_was_evaluated_again(
    is_printed: bool, found: dict[int, int], lab: Laboratory
) -> None:
    # given copper and lead of one sample, on a certificate or not, and the run evaluated again
    submission = a_submission(lab, 1)
    run = an_evaluated_run(lab, submission).run
    if is_printed:
        a_certificate(lab, approved(lab, submission), draw=False)
    evaluate_run(by=lab.people["analyst"], at=lab.later(), reason="again", run=run)
    # then the newest evaluation's are found, and of an older one what is printed
    rows = Result.objects.filter(pk__in=touched_results(Doubt(DoubtKind.RUN, run.number)))
    versions = list(rows.values_list("evaluation__version", flat=True))
    assert {version: versions.count(version) for version in versions} == found
