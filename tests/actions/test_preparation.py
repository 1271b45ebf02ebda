"""Preparation: batches with their control samples; masses with a window; nothing half-recorded."""

from datetime import date

import pytest

from labresults.actions.materials import record_equipment_check
from labresults.actions.preparation import Weighed, begin_batch, record_weighings
from labresults.acts import BadInput, NotAuthorised
from labresults.models import PreparationBatch, Weighing
from labresults.terms import Repeat
from tests.builders import Laboratory, a_submission, a_weighed_batch


def a_batch(lab: Laboratory, count: int = 3) -> PreparationBatch:
    return begin_batch(
        by=lab.people["preparer"],
        at=lab.later(),
        method_version=lab.version,
        samples=list(a_submission(lab, count).samples.order_by("ordinal")),
        caution_read=True,
    )


def test_the_method_puts_its_control_samples_into_the_batch(lab: Laboratory) -> None:
    tubes = a_batch(lab).portions.order_by("tube").values_list("label", "role")
    assert list(tubes) == [
        ("B26-0001 MB1", "method blank"),
        ("B26-0001 RM2", "certified reference material"),
        ("KF26-00001", "sample"),
        ("KF26-00002", "sample"),
        ("KF26-00003", "sample"),
        ("KF26-00003 D", "laboratory duplicate"),
    ]


@pytest.mark.parametrize(
    ("count", "caution", "says"),
    [
        pytest.param(21, True, "at most 20", id="too many"),
        pytest.param(0, True, "at least one", id="none"),
        pytest.param(3, False, "caution", id="caution not read"),
    ],
)
def test_a_batch_that_cannot_be_is_refused(lab: Laboratory, count: int, caution: bool, says: str) -> None:
    samples = list(a_submission(lab, count).samples.all()) if count else []
    with pytest.raises(BadInput, match=says):
        begin_batch(
            by=lab.people["preparer"], at=lab.later(), method_version=lab.version, samples=samples, caution_read=caution
        )
    assert not PreparationBatch.objects.exists()


def test_somebody_without_authorisation_does_not_prepare(lab: Laboratory) -> None:
    lab.people["preparer"].authorisations.update(valid_to=date(2026, 11, 1))
    with pytest.raises(NotAuthorised, match="not authorised to prepare with AR-7"):
        a_batch(lab)


@pytest.mark.parametrize(
    ("row", "says"),
    [
        pytest.param(Weighed("KF26-99999", 0.5, 50.0), "not in this batch", id="unknown label"),
        pytest.param(Weighed("KF26-00001", 0.2714, 50.0), "outside 0.45 to 0.55 g", id="outside the window"),
        pytest.param(Weighed("KF26-00001", None, 50.0), "has none", id="no mass"),
        pytest.param(Weighed("KF26-00001", 0.5, None), "has none", id="no volume"),
        pytest.param(Weighed("KF26-00001", 0.5, 50.0, dilution="1:10"), "1:10", id="ambiguous dilution"),
    ],
)
def test_a_bad_weighing_is_named_and_nothing_is_recorded(lab: Laboratory, row: Weighed, says: str) -> None:
    batch = a_batch(lab)
    with pytest.raises(BadInput) as refusal:
        record_weighings(
            by=lab.people["preparer"], at=lab.later(), batch=batch, rows=[Weighed("KF26-00002", 0.5, 50.0), row]
        )
    assert says in str(refusal.value.problems[0])
    assert not Weighing.objects.exists()


def test_a_mass_outside_the_window_is_kept_with_a_reason(lab: Laboratory) -> None:
    row = Weighed("KF26-00001", 0.2714, 50.0, reason="all that was left")
    made = record_weighings(by=lab.people["preparer"], at=lab.later(), batch=a_batch(lab), rows=[row])
    assert made[0].reason == "all that was left"


@pytest.mark.parametrize(
    ("written", "factor"), [("1 + 9", 10.0), ("1 in 10", 10.0), ("x 5", 5.0), ("1 in 10, 1 in 5", 50.0), ("", 1.0)]
)
def test_a_dilution_is_written_as_a_convention_and_its_factor_kept(
    lab: Laboratory, written: str, factor: float
) -> None:
    row = Weighed("KF26-00001", 0.5, 50.0, dilution=written)
    made = record_weighings(by=lab.people["preparer"], at=lab.later(), batch=a_batch(lab), rows=[row])
    assert made[0].dilution == factor
    assert made[0].dilution_written == written


def test_a_correction_is_a_newer_row_with_a_reason(lab: Laboratory) -> None:
    batch = a_weighed_batch(lab, a_submission(lab))
    again = {"by": lab.people["preparer"], "batch": batch}
    with pytest.raises(BadInput) as refusal:
        record_weighings(at=lab.later(), rows=[Weighed("KF26-00001", 0.51, 50.0)], **again)
    assert "recorded before" in str(refusal.value.problems[0])

    record_weighings(at=lab.later(), rows=[Weighed("KF26-00001", 0.51, 50.0, reason="misread")], **again)

    kept = Weighing.objects.filter(portion__label="KF26-00001").order_by("version").values_list("version", "mass_g")
    assert list(kept) == [(1, 0.5), (2, 0.51)]


def test_a_sample_is_prepared_again_only_as_a_named_repeat(lab: Laboratory) -> None:
    submission = a_submission(lab, 1)
    a_weighed_batch(lab, submission)
    given = {
        "by": lab.people["preparer"], "method_version": lab.version, "samples": list(submission.samples.all()),
        "caution_read": True,
    }  # fmt: skip
    with pytest.raises(BadInput, match="Prepared by AR-7 before"):
        begin_batch(at=lab.later(), **given)
    with pytest.raises(BadInput, match="cause"):
        begin_batch(at=lab.later(), repeat=Repeat.RE_DIGEST, **given)
    batch = begin_batch(at=lab.later(), repeat=Repeat.RE_DIGEST, reason="the blank failed", **given)
    assert batch.portions.get(role="sample").repeat_cause == "the blank failed"


def test_an_overdue_balance_needs_a_reason(lab: Laboratory) -> None:
    batch = a_batch(lab)
    record_equipment_check(
        by=lab.people["quality manager"], at=lab.later(), equipment=lab.balance, done_on=date(2026, 11, 15),
        due_on=date(2026, 12, 15), what="check weight", passed=False,
    )  # fmt: skip
    rows = [Weighed("KF26-00001", 0.5, 50.0)]
    given = {"by": lab.people["preparer"], "batch": batch, "rows": rows, "balance": lab.balance}
    with pytest.raises(BadInput, match="overdue"):
        record_weighings(at=lab.later(), **given)
    assert record_weighings(at=lab.later(), reason="checked by hand with weight W4", **given)
