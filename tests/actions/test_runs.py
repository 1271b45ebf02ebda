"""Runs: planned as the method asks, files taken whole or not at all, and never twice."""

from datetime import date

import pytest

from labresults.actions.batches import begin_batch
from labresults.actions.materials import record_equipment_check
from labresults.actions.runs import import_readings, plan_run
from labresults.acts import BadInput, NotAuthorised, WrongState
from labresults.models import Lot, Reading, ReadingFile, Run
from tests.builders import (
    Laboratory,
    a_reading_file,
    a_run,
    a_submission,
    a_weighed_batch,
    an_imported_file,
)


def a_planned_run(lab: Laboratory, count: int = 3) -> Run:
    return a_run(lab, a_weighed_batch(lab, a_submission(lab, count)))


def imported(lab: Laboratory, run: Run, content: bytes) -> ReadingFile:
    return an_imported_file(lab, run, content)


def test_standards_come_first_and_checks_stand_among_the_solutions(lab: Laboratory) -> None:
    labels = list(a_planned_run(lab, 8).positions.order_by("number").values_list("label", flat=True))
    assert labels[:5] == ["STD 0", "STD 1", "STD 2", "STD 3", "ICV 1"]
    # One check after every five test solutions, one at the end; batch controls count as solutions.
    assert labels.index("CCV 1") == 5 + 5
    assert labels[-1] == "CCV 3"


def test_an_expired_standard_stops_the_plan(lab: Laboratory) -> None:
    Lot.objects.filter(material__code="STD-1").update(expires_on=date(2026, 11, 1))
    with pytest.raises(BadInput, match="No lot of STD-1 is valid on 2026-11-16"):
        a_planned_run(lab)
    assert not Run.objects.exists()


def test_a_portion_that_was_not_weighed_cannot_be_measured(lab: Laboratory) -> None:
    batch = a_weighed_batch(lab, a_submission(lab, 1, names=["a"]))
    other = a_submission(lab, 1, names=["b"])
    unweighed = begin_batch(
        by=lab.people["preparer"], at=lab.later(), method_version=lab.version, samples=list(other.samples.all()),
        caution_read=True,
    )  # fmt: skip
    with pytest.raises(BadInput, match="Nothing is recorded yet of"):
        a_run(lab, batch, unweighed)


def test_a_failed_instrument_check_needs_a_reason(lab: Laboratory) -> None:
    record_equipment_check(
        by=lab.people["quality manager"], at=lab.later(), equipment=lab.spectrometer, done_on=date(2026, 11, 15),
        due_on=date(2026, 12, 15), what="wavelength check", passed=False,
    )  # fmt: skip
    with pytest.raises(BadInput, match="overdue"):
        a_planned_run(lab)


def test_a_dilution_at_the_instrument_is_a_repeat_with_a_cause(lab: Laboratory) -> None:
    batch = a_weighed_batch(lab, a_submission(lab, 1))
    portion = batch.portions.get(role="sample")
    given = {
        "by": lab.people["analyst"], "method_version": lab.version, "portions": [portion],
        "instrument": lab.spectrometer, "dilutions": {portion.pk: 5.0},
    }  # fmt: skip
    with pytest.raises(BadInput, match="cause"):
        plan_run(at=lab.later(), **given)
    run = plan_run(at=lab.later(), reason="Cu over range", **given)
    position = run.positions.get(portion=portion)
    assert (position.dilution, position.repeat_cause) == (5.0, "Cu over range")


def test_a_portion_that_was_read_before_is_read_again_with_a_cause(lab: Laboratory) -> None:
    batch = a_weighed_batch(lab, a_submission(lab, 1))
    a_run(lab, batch)
    given = {
        "by": lab.people["analyst"], "method_version": lab.version, "instrument": lab.spectrometer,
        "portions": list(batch.portions.filter(role="sample")),
    }  # fmt: skip
    with pytest.raises(BadInput, match=r"Read before, .* KF26-00001"):
        plan_run(at=lab.later(), **given)
    run = plan_run(at=lab.later(), reason="the pump stopped", **given)
    assert run.positions.get(role="sample").repeat_cause == "the pump stopped"


def test_readings_are_kept_as_the_file_has_them(lab: Laboratory) -> None:
    run = a_planned_run(lab)
    file = imported(lab, run, a_reading_file(run))
    reading = Reading.objects.get(position__label="STD 2", line__element="Cu")
    assert reading.replicates == [repr(1810.0 * 1.001), repr(1810.0 * 0.999)]
    assert reading.mean == pytest.approx(1810.0)
    assert bytes(file.content) == a_reading_file(run)


def test_the_same_bytes_are_refused_the_second_time_and_say_where_they_are(lab: Laboratory) -> None:
    run = a_planned_run(lab)
    content = a_reading_file(run)
    imported(lab, run, content)
    with pytest.raises(WrongState, match=f"taken before, as {run.number}.csv of run {run.number}"):
        imported(lab, a_run(lab, a_weighed_batch(lab, a_submission(lab, 1, names=["z"]))), content)


def test_a_run_is_read_once(lab: Laboratory) -> None:
    run = a_planned_run(lab)
    imported(lab, run, a_reading_file(run))
    with pytest.raises(WrongState, match="has its readings already"):
        imported(lab, run, a_reading_file(run) + b"\n")


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        pytest.param(lambda text: text.replace("CCV 1", "CCV 9"), "“CCV 9” here and “CCV 1” in the plan", id="label"),
        pytest.param(lambda text: text.replace("324.754", "327.395"), "Cu 327.395", id="another line"),
        pytest.param(lambda text: text[: text.index("\n10,")], "not in the file", id="half a file"),
        pytest.param(lambda text: text.replace("label", "name", 1), "label", id="heading"),
        pytest.param(lambda text: text + "\n99,KF,Cu 324.754,1,2", "position 99", id="unknown position"),
        pytest.param(lambda text: text.replace(repr(1810.0 * 1.001), "18O1.8"), "18O1.8", id="not a number"),
    ],
)
def test_a_file_with_a_problem_is_not_taken_at_all(lab: Laboratory, spoil: object, says: str) -> None:
    run = a_planned_run(lab)
    with pytest.raises(BadInput) as refusal:
        imported(lab, run, spoil(a_reading_file(run).decode()).encode())  # type: ignore[operator]
    assert any(says in str(problem) for problem in refusal.value.problems), refusal.value.problems
    assert not ReadingFile.objects.exists()
    assert not Reading.objects.exists()


def test_only_the_analyst_loads(lab: Laboratory) -> None:
    run = a_planned_run(lab)
    with pytest.raises(NotAuthorised):
        import_readings(
            by=lab.people["reviewer"], at=lab.later(), run=run, content=b"x", filename="x.csv", layout=lab.layout
        )
