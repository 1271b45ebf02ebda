"""Files of readings: taken whole but for rows that are struck by name, or not at all, and never twice."""

import json
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest

from labresults.actions.methods import save_layout
from labresults.actions.readings import import_readings
from labresults.acts import BadInput, NotAuthorised, WrongState
from labresults.models import AuditEvent, Reading, ReadingFile, Run
from labresults.models import Laboratory as LaboratoryRow
from labresults.readers.layout import Layout as LayoutSpecification
from labresults.readers.layout import Shape
from labresults.terms import WayIn
from tests.builders import Laboratory, a_reading_file, a_run, a_submission, a_weighed_batch


def a_planned_run(lab: Laboratory, count: int = 3) -> Run:
    return a_run(lab, a_weighed_batch(lab, a_submission(lab, count)))


def imported(lab: Laboratory, run: Run, content: bytes, **changed: object) -> ReadingFile:
    given = {"layout": lab.layout, "filename": f"{run.number}.csv"} | changed
    return import_readings(by=lab.people["analyst"], at=lab.later(), run=run, content=content, **given)


def said_of_it() -> dict[str, Any]:
    """What the newest event says was there afterwards."""
    return dict(json.loads(AuditEvent.objects.latest("seq").content)["after"])


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


def test_a_row_is_left_out_by_name_and_its_words_stay_on_record(lab: Laboratory) -> None:
    # given a file in which a position was written twice, the first time while the pump stood
    run = a_planned_run(lab)
    lines = a_reading_file(run).decode().splitlines()
    content = "\n".join([*lines[:8], lines[7], *lines[8:]]).encode()
    with pytest.raises(BadInput) as refusal:
        imported(lab, run, content)
    row = next(problem.row for problem in refusal.value.problems)
    # when the row is struck with a reason
    file = imported(lab, run, content, struck={row: "the pump stood still"})
    # then the rest is taken, and the event names row and reason
    assert file.struck == [[row, "the pump stood still"]]
    assert file.readings.count() == run.positions.count() * 2
    assert [row, "the pump stood still"] in said_of_it()["rows left out"]


def test_a_row_is_not_left_out_without_a_reason(lab: Laboratory) -> None:
    run = a_planned_run(lab)
    with pytest.raises(BadInput, match="Say why row 3 is left out"):
        imported(lab, run, a_reading_file(run), struck={3: " "})
    assert not ReadingFile.objects.exists()


def test_what_the_file_calls_a_position_is_answered_by_a_person(lab: Laboratory) -> None:
    # given a file without numbers, in which somebody typed a label otherwise
    run = a_planned_run(lab)
    unnumbered = save_layout(by=lab.people["analyst"], at=lab.later(), specification=BY_LABEL)
    content = a_reading_file(run).replace(b",KF26-00002,", b",KF2602,")
    position = run.positions.get(label="KF26-00002")
    with pytest.raises(BadInput) as refusal:
        imported(lab, run, content, layout=unnumbered)
    asked = next(problem.asks for problem in refusal.value.problems if problem.asks)
    assert (asked.name, asked.free) == ("KF2602", ((position.number, "KF26-00002"),))
    # when that is answered, then the readings stand at that position, and the answer stays on record
    file = imported(lab, run, content, layout=unnumbered, matched={"KF2602": position.number})
    assert file.matched == {"KF2602": position.number}
    assert position.readings.count() == 2


BY_LABEL = LayoutSpecification(
    name="by label",
    version=1,
    shape=Shape.LONG,
    unit="counts/s",
    label="label",
    line="line",
    replicates=("reading 1", "reading 2"),
)


@pytest.mark.parametrize("way", list(WayIn))
def test_the_way_in_stays_on_record(lab: Laboratory, way: WayIn) -> None:
    run = a_planned_run(lab)
    assert imported(lab, run, a_reading_file(run), way=way).way == way
    assert said_of_it()["way"] == way


def test_when_it_was_measured_is_said_by_a_person_else_it_is_now(lab: Laboratory) -> None:
    start, end = datetime(2026, 11, 15, 20, 0, tzinfo=UTC), datetime(2026, 11, 16, 4, 18, tzinfo=UTC)
    run, other = a_planned_run(lab), a_run(lab, a_weighed_batch(lab, a_submission(lab, 1, names=["z"])))
    said = imported(lab, run, a_reading_file(run), measured_from=start, measured_to=end)
    assert (said.measured_from, said.measured_to) == (start, end)
    unsaid = imported(lab, other, a_reading_file(other))
    assert unsaid.measured_from == unsaid.measured_to == unsaid.made_at


@pytest.mark.parametrize("count", [3, 20])
def test_a_file_costs_as_many_queries_whatever_its_size(
    lab: Laboratory, count: int, django_assert_max_num_queries: Callable[[int], object]
) -> None:
    run = a_planned_run(lab, count)
    with django_assert_max_num_queries(24):  # type: ignore[attr-defined]
        imported(lab, run, a_reading_file(run))


TIMED = LayoutSpecification(
    name="timed",
    version=1,
    shape=Shape.LONG,
    unit="counts/s",
    position="position",
    line="line",
    replicates=("reading 1", "reading 2"),
    time="read at",
    concentration="by the instrument",
    concentration_unit="mg/L",
)


def a_timed_file(run: Run, times: list[str]) -> bytes:
    """The run's file with a time for each position, and what the instrument made of each signal."""
    heading, *rows = a_reading_file(run).decode().splitlines()
    said = [f"{row},{times[int(row.partition(',')[0]) - 1]},0.25" for row in rows]
    return "\n".join([f"{heading},read at,by the instrument", *said]).encode()


def test_times_of_the_file_say_when_each_position_was_measured(lab: Laboratory) -> None:
    # given a laboratory in Berlin, and a night in which summer time ends: two o'clock comes twice
    LaboratoryRow.objects.update(time_zone="Europe/Berlin")
    run = a_planned_run(lab)
    layout = save_layout(by=lab.people["analyst"], at=lab.later(), specification=TIMED)
    clock = ["01:50", "02:10", "02:30", "02:50", "02:10", "02:30", "02:50"]
    clock += [f"03:{minute}" for minute in range(10, 10 + run.positions.count() - len(clock))]
    times = [f"2026-10-25 {time}" for time in clock]
    # when the file is taken, then the second hour follows the first, and nothing goes back
    file = imported(lab, run, a_timed_file(run, times), layout=layout)
    moments = [datetime.fromisoformat(file.position_times[str(number)]) for number in range(1, len(times) + 1)]
    assert [f"{moment:%H:%M}" for moment in moments[:6]] == ["23:50", "00:10", "00:30", "00:50", "01:10", "01:30"]
    assert moments == sorted(moments)
    assert (file.measured_from, file.measured_to) == (moments[0], moments[-1])


def test_what_the_instrument_made_of_the_signals_is_kept_beside_them(lab: Laboratory) -> None:
    run = a_planned_run(lab)
    layout = save_layout(by=lab.people["analyst"], at=lab.later(), specification=TIMED)
    imported(lab, run, a_timed_file(run, ["2026-11-16 20:00"] * run.positions.count()), layout=layout)
    assert set(Reading.objects.values_list("instrument_concentration", "instrument_unit")) == {(0.25, "mg/L")}
