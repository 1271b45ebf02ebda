"""Batches: control samples where the method asks for them; what may not begin; a portion lost and taken again."""

from collections.abc import Sequence
from datetime import date, timedelta

import pytest

from labresults.actions.batches import add_reagents, begin_batch, discard_portion
from labresults.actions.evaluation import evaluate_run
from labresults.actions.methods import add_method_version
from labresults.actions.overrides import allow_override
from labresults.actions.runs import plan_run
from labresults.actions.weighings import Weighed, record_weighings
from labresults.acts import BadInput, NotAuthorised, WrongState
from labresults.models import AuditEvent, Lot, MethodVersion, PreparationBatch, Sample, TestPortion
from labresults.queries.bench_waiting import open_batches, samples_to_begin
from labresults.queries.run_planning import ready_batches
from labresults.terms import OverrideKind, Placing, Repeat, Role
from tests.builders import (
    NOW,
    Laboratory,
    a_method,
    a_run,
    a_submission,
    a_weighed_batch,
    an_evaluated_run,
    an_imported_file,
)


def begun(lab: Laboratory, samples: Sequence[Sample], **more: object) -> PreparationBatch:
    return begin_batch(
        by=lab.people["preparer"], at=lab.later(),
        **{"method_version": lab.version, "samples": samples, "caution_read": True, **more},
    )  # fmt: skip


def delivered(lab: Laboratory, count: int = 3) -> list[Sample]:
    return list(a_submission(lab, count).samples.order_by("ordinal"))


def labels(batch: PreparationBatch) -> list[str]:
    return list(batch.portions.order_by("tube").values_list("label", flat=True))


def expired_lot() -> Lot:
    Lot.objects.filter(number="L-2300").update(expires_on=date(2026, 11, 1))
    return Lot.objects.get(number="L-2300")


def let_expired(lab: Laboratory, lot: Lot) -> None:
    allow_override(
        by=lab.people["quality manager"], at=lab.later(), reason="checked against the new lot",
        kind=OverrideKind.EXPIRED_LOT, lot=lot,
    )  # fmt: skip


# ------------------------------------------------------------ control samples


def test_the_method_puts_its_control_samples_into_the_batch(lab: Laboratory) -> None:
    tubes = begun(lab, delivered(lab)).portions.order_by("tube").values_list("label", "role")
    assert list(tubes) == [
        ("B26-0001 MB1", "method blank"),
        ("B26-0001 RM2", "certified reference material"),
        ("KF26-00001", "sample"),
        ("KF26-00002", "sample"),
        ("KF26-00003", "sample"),
        ("KF26-00003 D", "laboratory duplicate"),
    ]


def a_version_with(lab: Laboratory, *controls: dict[str, object]) -> MethodVersion:
    return add_method_version(
        by=lab.people["quality manager"], at=NOW, code="AR-9", title="Aqua regia", area="geochemistry",
        valid_from=date(2026, 1, 1), matrices=["soil"], lines=[], criteria=[], standards=[],
        determinations=[{"element": "Cu", "unit": "mg/kg"}],
        version={
            "what_was_done": "aqua regia", "dissolution": "aqua regia", "solution_kind": "mass made up to volume",
            "solution_unit": "mg/L", "blank_rule": "judged, not subtracted", "batch_size": 40,
            "weights_edition": "CIAAW 2024", "uncertainty_basis": "stated",
        },
        controls=[{"in_batch": True, **control} for control in controls],
    )  # fmt: skip


def test_one_for_every_so_many_each_in_its_place(lab: Laboratory) -> None:
    version = a_version_with(
        lab,
        {"role": Role.METHOD_BLANK, "every": 2, "placing": Placing.SPREAD},
        {"role": Role.REFERENCE_MATERIAL, "material": "GC-17", "at_least": 2},
        {"role": Role.DUPLICATE, "at_least": 5},
    )
    batch = begun(lab, delivered(lab, 4), method_version=version)
    assert labels(batch) == [
        "B26-0001 MB1", "B26-0001 RM2", "B26-0001 RM3", "KF26-00001", "KF26-00002", "B26-0001 MB6", "KF26-00003",
        "KF26-00004", "KF26-00001 D", "KF26-00002 D", "KF26-00003 D", "KF26-00004 D", "KF26-00004 D2",
    ]  # fmt: skip
    planned = batch.portions.exclude(role=Role.SAMPLE).values_list("planned__role", "role")
    assert all(one == other for one, other in planned), "each names the control sample that was planned"


def test_random_places_come_from_a_recorded_seed(lab: Laboratory) -> None:
    version = a_version_with(lab, {"role": Role.METHOD_BLANK, "placing": Placing.RANDOM, "at_least": 3})
    samples = delivered(lab, 8)
    with pytest.raises(BadInput, match="give a seed"):
        begun(lab, samples, method_version=version)
    one, other, again = (
        begun(lab, samples, method_version=version, seed=seed, repeat=Repeat.RE_DIGEST, reason="trial")
        for seed in (41, 42, 41)
    )
    roles = [list(batch.portions.order_by("tube").values_list("role", flat=True)) for batch in (one, other, again)]
    assert roles[0] == roles[2] != roles[1]
    assert (one.seed, other.seed) == (41, 42)


def test_a_method_without_chance_keeps_no_seed(lab: Laboratory) -> None:
    assert begun(lab, delivered(lab), seed=41).seed is None


# ------------------------------------------------------------ what may not begin


@pytest.mark.parametrize(
    ("count", "caution", "says"),
    [
        pytest.param(21, True, "at most 20", id="too many"),
        pytest.param(0, True, "at least one", id="none"),
        pytest.param(3, False, "caution", id="caution not read"),
    ],
)
def test_a_batch_that_cannot_be_is_refused(lab: Laboratory, count: int, caution: bool, says: str) -> None:
    samples = delivered(lab, count) if count else []
    with pytest.raises(BadInput, match=says):
        begun(lab, samples, caution_read=caution)
    assert not PreparationBatch.objects.exists()


def test_somebody_without_authorisation_does_not_prepare(lab: Laboratory) -> None:
    lab.people["preparer"].authorisations.update(valid_to=date(2026, 11, 1))
    with pytest.raises(NotAuthorised, match="not authorised to prepare with AR-7"):
        begun(lab, delivered(lab))


def test_a_sample_is_prepared_again_only_as_a_named_repeat(lab: Laboratory) -> None:
    submission = a_submission(lab, 1)
    a_weighed_batch(lab, submission)
    samples = list(submission.samples.all())
    with pytest.raises(BadInput, match="Prepared by AR-7 before"):
        begun(lab, samples)
    with pytest.raises(BadInput, match="cause"):
        begun(lab, samples, repeat=Repeat.RE_DIGEST)
    batch = begun(lab, samples, repeat=Repeat.RE_DIGEST, reason="the blank failed")
    assert batch.portions.get(role="sample").repeat_cause == "the blank failed"


def test_a_struck_sample_is_not_prepared(lab: Laboratory) -> None:
    samples = delivered(lab)
    Sample.objects.filter(pk=samples[1].pk).update(struck_at=NOW)
    samples[1].refresh_from_db()
    with pytest.raises(BadInput, match="Struck from their submission: KF26-00002"):
        begun(lab, samples)


def test_a_water_acidified_on_arrival_waits(lab: Laboratory) -> None:
    # given a water acidified on Monday at 9:00, and the lock of 24 h (40 CFR 136.3, table II, note 2)
    samples = delivered(lab, 2)
    acidified = lab.clock
    Sample.objects.filter(pk=samples[0].pk).update(acidified_at=acidified)
    samples[0].refresh_from_db()
    # when a batch is to begin an hour later, it is refused with the time; when 24 h are over, it begins
    with pytest.raises(BadInput, match=r"KF26-00001, acidified 16 Nov 09:00, may begin 17 Nov 2026 09:00 UTC"):
        begun(lab, samples)
    lab.clock = acidified + timedelta(hours=23)
    assert begun(lab, samples).portions.filter(label="KF26-00001").exists()


# ------------------------------------------------------------ reagents


def test_an_expired_lot_is_refused_until_somebody_lets_it_be_used_by_name(lab: Laboratory) -> None:
    lot, samples = expired_lot(), delivered(lab)
    with pytest.raises(BadInput, match=r"Expired: L-2300 \(2026-11-01\).*analyst, laboratory manager or quality man"):
        begun(lab, samples, reagents=[lot])
    let_expired(lab, lot)
    assert begun(lab, samples, reagents=[lot]).reagents.get() == lot
    said = AuditEvent.objects.get(act="begin_batch").content
    assert "L-2300 expired lot: Quality Manager Person, checked against the new lot" in said


def test_reagents_are_added_later(lab: Laboratory) -> None:
    batch = begun(lab, delivered(lab), reagents=[Lot.objects.get(number="L-2400")])
    given = {"by": lab.people["preparer"], "batch": batch}
    with pytest.raises(BadInput, match="Expired"):
        add_reagents(at=lab.later(), lots=[expired_lot()], **given)
    add_reagents(at=lab.later(), lots=Lot.objects.filter(number__in=["L-2203", "L-2400"]), **given)
    assert set(batch.reagents.values_list("number", flat=True)) == {"L-2203", "L-2400"}
    with pytest.raises(WrongState, match="names L-2203, L-2400 already"):
        add_reagents(at=lab.later(), lots=[Lot.objects.get(number="L-2203")], **given)


# ------------------------------------------------------------ discarded and taken again


def discarded(lab: Laboratory, portion: TestPortion, reason: str = "boiled dry") -> TestPortion:
    return discard_portion(by=lab.people["preparer"], at=lab.later(), reason=reason, portion=portion)


def test_a_lost_portion_stays_on_the_record_and_another_takes_its_place(lab: Laboratory) -> None:
    batch = a_weighed_batch(lab, a_submission(lab))
    lost = batch.portions.get(label="KF26-00002")
    taken = discarded(lab, lost)
    assert (taken.label, taken.tube, taken.role, taken.subsample) == ("KF26-00002 (2)", 7, "sample", lost.subsample)
    assert (lost.discarded.reason, lost.discarded.replaced_by) == ("boiled dry", taken)
    assert discarded(lab, taken, "spilled").label == "KF26-00002 (3)"
    assert lost.weighings.count() == 1, "what was weighed of it stays"


def test_a_control_sample_that_is_lost_keeps_its_role_and_parent(lab: Laboratory) -> None:
    batch = a_weighed_batch(lab, a_submission(lab))
    duplicate = batch.portions.get(role=Role.DUPLICATE)
    taken = discarded(lab, duplicate)
    assert (taken.label, taken.role, taken.parent, taken.planned) == (
        "KF26-00003 D (2)", Role.DUPLICATE, duplicate.parent, duplicate.planned,
    )  # fmt: skip


def test_a_discarded_portion_is_neither_weighed_nor_planned_nor_waits(lab: Laboratory) -> None:
    batch = a_weighed_batch(lab, a_submission(lab))
    lost = batch.portions.get(label="KF26-00002")
    taken = discarded(lab, lost)
    # it is not weighed
    with pytest.raises(BadInput) as refusal:
        record_weighings(
            by=lab.people["preparer"], at=lab.later(), batch=batch,
            rows=[Weighed("KF26-00002", 0.51, 50.0, reason="again")],
        )  # fmt: skip
    assert "was discarded: boiled dry. Weigh KF26-00002 (2) instead" in str(refusal.value.problems[0])
    # the batch is open until the new one is recorded; the sample itself does not wait for another batch
    assert open_batches() == [batch]
    assert not samples_to_begin("AR-7", lab.clock).exists()
    # it is not proposed for a run, and not taken into one
    (ready,) = ready_batches(lab.version, {}, lab.later())
    assert lost not in [row.portion for row in ready.portions]
    with pytest.raises(BadInput, match="Discarded: KF26-00002"):
        plan_run(
            by=lab.people["analyst"], at=lab.later(), method_version=lab.version, portions=[lost],
            instrument=lab.spectrometer,
        )  # fmt: skip
    record_weighings(by=lab.people["preparer"], at=lab.later(), batch=batch, rows=[Weighed(taken.label, 0.5, 50.0)])
    assert open_batches() == []


def test_a_duplicate_is_compared_with_the_portion_taken_instead(lab: Laboratory) -> None:
    # given the duplicate's sample was lost before the run and weighed again, in a later tube
    batch = a_weighed_batch(lab, a_submission(lab))
    taken = discarded(lab, batch.portions.get(label="KF26-00003"))
    record_weighings(by=lab.people["preparer"], at=lab.later(), batch=batch, rows=[Weighed(taken.label, 0.5, 50.0)])
    # when the run is planned, then the new portion stands before the duplicate, which names it as its parent
    run = a_run(lab, batch)
    duplicate = run.positions.get(role=Role.DUPLICATE)
    assert duplicate.parent.portion == taken
    assert duplicate.parent.number < duplicate.number


@pytest.mark.parametrize("reason", ["", "  "])
def test_discarding_needs_a_reason(lab: Laboratory, reason: str) -> None:
    portion = a_weighed_batch(lab, a_submission(lab)).portions.first()
    with pytest.raises(BadInput, match="spilled or boiled dry"):
        discarded(lab, portion, reason)


def test_a_portion_is_discarded_once_and_not_after_it_was_measured(lab: Laboratory) -> None:
    submission = a_submission(lab)
    batch = a_weighed_batch(lab, submission)
    lost = batch.portions.get(label="KF26-00001")
    discarded(lab, lost)
    with pytest.raises(WrongState, match=r"discarded before, by Preparer Person: boiled dry. KF26-00001 \(2\) stands"):
        discarded(lab, lost)
    measured = an_evaluated_run(lab, a_submission(lab, names=["x", "y"])).run.positions.filter(role=Role.SAMPLE)[0]
    with pytest.raises(WrongState, match="was measured in R26-0001"):
        discarded(lab, measured.portion)


def test_what_was_lost_after_its_run_was_planned_never_stands_for_its_sample(lab: Laboratory) -> None:
    batch = a_weighed_batch(lab, a_submission(lab))
    run = a_run(lab, batch)
    discarded(lab, batch.portions.get(label="KF26-00002"), "knocked over at the sampler")
    an_imported_file(lab, run)
    results = evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run).results
    assert results.filter(position__label="KF26-00002").exists()
    assert not results.filter(position__label="KF26-00002", is_candidate=True).exists()
    assert results.filter(position__label="KF26-00001", is_candidate=True).exists()


def test_a_test_solution_past_its_life_is_said_when_a_run_is_planned(lab: Laboratory) -> None:
    lab.version = a_method(lab.people["quality manager"], "AR-8", digest_life_h=48.0)
    a_weighed_batch(lab, a_submission(lab, 1))
    weighed_at = lab.clock
    (young,) = ready_batches(lab.version, {}, weighed_at + timedelta(hours=48))
    assert {row.warning for row in young.portions} == {""}
    (old,) = ready_batches(lab.version, {}, weighed_at + timedelta(hours=50))
    assert {row.warning for row in old.portions} == {"made up 50 h ago: AR-8 v1 keeps it for 48 h"}
