"""Pieces of a run as they come from its files: single replicates, times, and what was added at the instrument."""

import math
from collections.abc import Mapping

import pytest

from labresults.actions.evaluation import compute_again, evaluate_run
from labresults.actions.methods import save_layout
from labresults.actions.readings import import_readings
from labresults.models import Content, Position, Run
from labresults.queries.run_digests import inputs_digest
from labresults.queries.run_pieces import (
    LoadedFile,
    added_to,
    files_of,
    replicates_of_standards,
    times_of,
    whole_readings,
)
from labresults.queries.run_tables import load
from labresults.readers.layout import Layout, Shape
from tests.builders import LONG, Laboratory, a_reading_file, a_run, a_submission, a_weighed_batch, an_imported_file


def a_planned_run(lab: Laboratory) -> Run:
    return a_run(lab, a_weighed_batch(lab, a_submission(lab)))


def test_single_replicates_of_the_calibration_solutions_are_loaded_alone(lab: Laboratory) -> None:
    run = a_planned_run(lab)
    an_imported_file(lab, run)
    found = replicates_of_standards(whole_readings(run), files_of(run))
    # four standards at two lines, and nothing of the samples
    standards = [p.number for p in run.positions.order_by("number")][:4]
    assert sorted(found) == [(number, line) for number in standards for line in ("Cu 324.754", "Pb 220.353")]
    assert found[4, "Cu 324.754"] == pytest.approx([18010.0 * 1.001, 18010.0 * 0.999])
    assert load(run).table.replicates == found
    # an evaluation of before this is computed again without them
    assert load(run, rules=1).table.replicates == {}


def test_a_word_for_missing_keeps_its_place_among_the_replicates(lab: Laboratory) -> None:
    # given a layout with three columns of readings, of which one cell says "none"
    run = a_planned_run(lab)
    rows = a_reading_file(run).decode().splitlines()
    content = [rows[0] + ",reading 3", *(f"{row},{row.rsplit(',', 1)[1]}" for row in rows[1:])]
    content[1] = ",".join([*content[1].split(",")[:3], "10.2", "none", "9.8"])
    layout = save_layout(by=lab.people["analyst"], at=lab.later(), specification=three_columns(LONG))
    import_readings(
        by=lab.people["analyst"], at=lab.later(), run=run, content="\n".join(content).encode(), filename="three.csv",
        layout=layout,
    )  # fmt: skip
    first, missing, third = replicates_of_standards(whole_readings(run), files_of(run))[1, "Cu 324.754"]
    assert (first, third) == (10.2, 9.8)
    assert math.isnan(missing)
    # and the run is evaluated, and found again the same
    evaluation = evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    assert inputs_digest(compute_again(evaluation).loaded) == evaluation.inputs_sha256


def three_columns(layout: Layout) -> Layout:
    return Layout.from_json(
        layout.to_json().replace('"long"', '"three columns"', 1).replace('"reading 2"', '"reading 2", "reading 3"')
    )


def a_file(times: Mapping[str, str]) -> LoadedFile:
    layout = Layout(name="long", version=1, shape=Shape.LONG, unit="1", position="p", line="l", replicates=("r",))
    return LoadedFile(layout, times)


@pytest.mark.parametrize(
    ("files", "expected"),
    [
        ([], ()),
        ([{}], ()),
        ([{"1": "2026-11-16T09:00:00+00:00", "2": "2026-11-16T09:01:30+00:00"}], (0.0, 90.0, None)),
        ([{"1": "2026-11-16T23:59:00+01:00", "3": "2026-11-17T00:01:00+01:00"}], (0.0, None, 120.0)),
        ([{"1": "2026-10-25T02:50:00+02:00", "2": "2026-10-25T02:05:00+01:00"}], (0.0, 900.0, None)),
        ([{"1": "2026-11-16T09:00:00", "2": "2026-11-16T09:00:30Z"}], (0.0, 30.0, None)),
        ([{"1": "2026-11-16T09:00Z"}, {"1": "2026-11-16T12:00Z", "2": "2026-11-16T09:00:10Z"}], (0.0, 10.0, None)),
    ],
    ids=["no file", "no times", "seconds", "over midnight", "summer time ends", "without a zone", "two files"],
)  # fmt: skip
def test_times_count_from_the_earliest(files: list[dict[str, str]], expected: tuple[float | None, ...]) -> None:
    positions = [Position(number=number) for number in (1, 2, 3)]
    assert times_of({key: a_file(times) for key, times in enumerate(files)}, positions) == expected


def test_what_was_added_is_its_share_of_the_volume_made_up() -> None:
    # given 0.1 mL of a solution of 1000 mg/L, made up to 10 mL
    position = Position(number=1, added_mL=0.1, made_up_mL=10.0)
    contents = {"Cu": Content(element_id="Cu", value=1000.0, unit="mg/L"), "Pb": Content(value=5e5, unit="ug/L")}
    assert added_to(position, contents, "mg/L") == {"Cu": pytest.approx(10.0), "Pb": pytest.approx(5.0)}
    assert added_to(Position(number=2), contents, "mg/L") == {}


def test_moments_come_from_the_file(lab: Laboratory) -> None:
    # given a file that says when each position was read, a minute apart
    run = a_planned_run(lab)
    head, *rows = a_reading_file(run).decode().splitlines()
    timed = [f"{row},2026-11-16 09:{int(row.split(',')[0]):02d}" for row in rows]
    layout = Layout.from_json(LONG.to_json().replace('"long"', '"with times"', 1).replace('"time": ""', '"time": "at"'))
    import_readings(
        by=lab.people["analyst"], at=lab.later(), run=run, content="\n".join([f"{head},at", *timed]).encode(),
        filename="with times.csv", layout=save_layout(by=lab.people["analyst"], at=lab.later(), specification=layout),
    )  # fmt: skip
    assert load(run).table.times_s == tuple(60.0 * place for place in range(run.positions.count()))
