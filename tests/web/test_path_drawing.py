"""The path by due date: every stroke is a sample, on its day."""

from datetime import date, timedelta

import pytest

from labresults.queries.waiting import Waiting
from labresults.terms import Station
from labresults.web.path_drawing import draw

TODAY = date(2026, 11, 17)


def waiting(samples: int, days: int, station: Station = Station.RUNS, number: str = "S26-0319") -> Waiting:
    return Waiting(station, number, "Saltbeck Town", "water", "WW-2", samples, TODAY + timedelta(days=days))


@pytest.mark.parametrize("samples", [1, 8, 24, 25, 48, 96])
def test_every_stroke_is_one_sample(samples: int) -> None:
    (cluster,) = next(lane.clusters for lane in draw([waiting(samples, 2)], TODAY).lanes if lane.clusters)
    assert cluster.path.count("M") == samples


@pytest.mark.parametrize(("samples", "stroke"), [(97, 10), (960, 10), (961, 100), (2000, 100)])
def test_many_samples_share_a_stroke_and_it_says_so(samples: int, stroke: int) -> None:
    assert draw([waiting(samples, 2)], TODAY).stroke == stroke


@pytest.mark.parametrize(
    ("days", "column", "late"),
    [(-30, 0, True), (-1, 1, True), (0, 2, False), (1, 3, False), (9, 11, False), (30, 12, False)],
)
def test_each_stands_on_its_day(days: int, column: int, late: bool) -> None:
    drawing = draw([waiting(3, days)], TODAY)
    (cluster,) = next(lane.clusters for lane in drawing.lanes if lane.clusters)
    assert (cluster.middle, cluster.late) == (drawing.columns[column].middle, late)
    assert cluster.label == ("0319 late" if late else "0319")


def test_several_submissions_of_a_day_stand_together() -> None:
    drawing = draw([waiting(3, 2), waiting(4, 2, number="S26-0320")], TODAY)
    (cluster,) = next(lane.clusters for lane in drawing.lanes if lane.clusters)
    assert (cluster.path.count("M"), cluster.label, cluster.submission) == (7, "2 subm.", "")
    assert "S26-0319" in cluster.words
    assert "S26-0320" in cluster.words


def test_each_station_has_its_lane() -> None:
    drawing = draw([waiting(2, 1, station) for station in Station], TODAY)
    assert [(lane.station, lane.samples) for lane in drawing.lanes] == [(station, 2) for station in Station]
    assert (drawing.samples, drawing.submissions, drawing.late) == (10, 1, 0)
