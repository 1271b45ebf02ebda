"""What is measured again has its cause first; a run is planned once, and anew while nothing was read of it."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from labresults.actions.readings import import_readings
from labresults.acts import BadInput, NotAuthorised, WrongState
from labresults.models import Position, Run
from labresults.queries.run_planning import Wanted, held_by, ready_batches
from labresults.terms import Repeat, Role
from tests.actions.planned_runs import a_planned_run, planned, portions_of, record_of
from tests.builders import (
    CONTENT,
    Laboratory,
    a_method,
    a_reading_file,
    a_run,
    a_submission,
    a_weighed_batch,
    an_evaluated_run,
    an_imported_file,
)

# ---------------------------------------------------------------- repeats


def test_a_first_reading_diluted_at_the_instrument_is_no_repeat_and_has_its_cause(lab: Laboratory) -> None:
    batch = a_weighed_batch(lab, a_submission(lab, 1))
    portion = batch.portions.get(role="sample")
    given = {"portions": [portion], "dilutions": {portion.pk: 5.0}}
    with pytest.raises(BadInput, match="cause"):
        planned(lab, **given)  # type: ignore[arg-type]
    run = planned(lab, reason="green as glass", **given)  # type: ignore[arg-type]
    position = run.positions.get(portion=portion)
    assert (position.dilution, position.repeat_cause, position.repeat) == (5.0, "green as glass", Repeat.NONE)
    assert record_of(run)["repeats"] == [[position.number, "first", "green as glass"]]
    # and planned anew it keeps both
    assert held_by(run)[portion.pk] == Wanted(5.0, Repeat.NONE, "green as glass")


def test_a_dilution_of_what_was_read_before_is_a_repeat(lab: Laboratory) -> None:
    run = a_run(lab, a_weighed_batch(lab, a_submission(lab, 1)))
    portion = run.positions.get(role="sample").portion
    again = planned(lab, [portion], reason="Cu over range", dilutions={portion.pk: 5.0})
    position = again.positions.get(portion=portion)
    assert (position.dilution, position.repeat_cause, position.repeat) == (5.0, "Cu over range", Repeat.RE_DILUTE)


def test_a_portion_that_was_read_before_is_read_again_with_a_cause(lab: Laboratory) -> None:
    batch = a_weighed_batch(lab, a_submission(lab, 1))
    a_run(lab, batch)
    samples = list(batch.portions.filter(role="sample"))
    with pytest.raises(BadInput, match=r"Read before, .* KF26-00001"):
        planned(lab, samples)
    position = planned(lab, samples, reason="the pump stopped").positions.get(role="sample")
    assert (position.repeat_cause, position.repeat) == ("the pump stopped", Repeat.RE_READ)


def test_each_repeat_has_its_own_cause_and_kind(lab: Laboratory) -> None:
    batch = a_weighed_batch(lab, a_submission(lab, 2))
    a_run(lab, batch)
    one, other = batch.portions.filter(role="sample").order_by("tube")
    run = planned(
        lab, portions_of(batch), reason="read with what they stand on",
        causes={one.pk: "Cu over range", other.pk: "replicates spread"}, dilutions={one.pk: 10.0},
        kinds={other.pk: Repeat.RE_READ},
    )  # fmt: skip
    said = {p.label: (p.repeat, p.repeat_cause) for p in run.positions.exclude(portion=None)}
    assert said["KF26-00001"] == (Repeat.RE_DILUTE, "Cu over range")
    assert said["KF26-00002"] == (Repeat.RE_READ, "replicates spread")
    assert said["B26-0001 MB1"] == (Repeat.RE_READ, "read with what they stand on")
    assert record_of(run)["repeats"][2] == [8, "re-dilute", "Cu over range"]  # type: ignore[index]


# ---------------------------------------------------------------- once, and anew


def test_the_same_form_plans_one_run(lab: Laboratory) -> None:
    batch = a_weighed_batch(lab, a_submission(lab))
    planned(lab, portions_of(batch), form_key="a-form")
    with pytest.raises(WrongState, match="This form is planned already, as R26-0001"):
        planned(lab, portions_of(batch), form_key="a-form", reason="pressed twice")
    assert Run.objects.count() == 1


def test_a_run_of_which_nothing_was_read_is_planned_anew(lab: Laboratory) -> None:
    # given a run that was planned, and is planned anew without one sample
    batch = a_weighed_batch(lab, a_submission(lab))
    old = planned(lab, portions_of(batch))
    left_out = batch.portions.get(label="KF26-00002")
    new = planned(lab, [p for p in portions_of(batch) if p != left_out], replaces=old)
    # then nothing of the new one is a repeat, the old one says what stands for it, and the sample waits again
    assert new.positions.filter(repeat=Repeat.NONE).count() == new.positions.count()
    assert Run.objects.get(pk=old.pk).replaced_by == new
    (ready,) = ready_batches(lab.version, {}, lab.later())
    assert [row.portion.label for row in ready.portions if row.chosen] == ["KF26-00002"]
    # and it is neither replaced twice nor read
    with pytest.raises(WrongState, match="was replaced already, by R26-0002"):
        planned(lab, [left_out], replaces=old, reason="again")
    with pytest.raises(WrongState, match="was planned anew, as R26-0002"):
        an_imported_file(lab, old, a_reading_file(old))


def test_a_run_that_was_read_stands(lab: Laboratory) -> None:
    batch = a_weighed_batch(lab, a_submission(lab))
    run = a_run(lab, batch)
    an_imported_file(lab, run)
    with pytest.raises(WrongState, match="R26-0001 has readings: it stands"):
        planned(lab, portions_of(batch), replaces=run, reason="no")


def test_a_run_is_replaced_by_one_of_its_own_method(lab: Laboratory) -> None:
    run = a_planned_run(lab)
    lab.version = a_method(lab.people["quality manager"], "AR-9")
    batch = a_weighed_batch(lab, a_submission(lab, 1, names=["q"]))
    with pytest.raises(BadInput, match="R26-0001 is a run by AR-7: plan one by the same method"):
        planned(lab, portions_of(batch), replaces=run)


def test_only_the_analyst_plans_and_loads(lab: Laboratory) -> None:
    run = a_planned_run(lab)
    with pytest.raises(NotAuthorised):
        planned(lab, [], by=lab.people["reviewer"])
    with pytest.raises(NotAuthorised):
        import_readings(
            by=lab.people["reviewer"], at=lab.later(), run=run, content=b"x", filename="x.csv", layout=lab.layout
        )


def test_a_planned_run_is_evaluated_with_its_blocks(lab: Laboratory) -> None:
    lab.version = a_method(lab.people["quality manager"], "AR-9", recalibrate_every=5)
    lab.method = lab.version.method
    evaluation = an_evaluated_run(lab, a_submission(lab, 6))
    assert set(evaluation.calibrations.values_list("block", flat=True)) == {1, 2}
    values = evaluation.results.filter(element="Cu", position__role=Role.SAMPLE).values_list("value", flat=True)
    assert list(values) == pytest.approx([CONTENT["Cu"]] * 6)


def test_a_thousand_test_solutions_are_planned_in_few_queries(lab: Laboratory) -> None:
    lab.version = a_method(lab.people["quality manager"], "BIG-1", batch_size=1000)
    portions = portions_of(a_weighed_batch(lab, a_submission(lab, 1000)))
    with CaptureQueriesContext(connection) as asked:
        run = planned(lab, portions, reason="one batch of a thousand")
    assert len(asked) < 40
    assert run.positions.count() == len(portions) + 4 + 1 + 201
    assert Position.objects.filter(run=run, role=Role.DUPLICATE, parent__isnull=False).count() == 1
