"""What runs through all positions: the internal standard against its window, a drift that was corrected."""

import pytest

from labresults.plots.internal_standard import MOST_POINTS, Track, finding, track_plot
from tests.plots.test_drawings import marks, parsed

ADDRESS = "/runs/R26-0001?at={0}#p{0}"


def track(*values: float, low: float | None = 70.0, high: float | None = 130.0) -> Track:
    return Track("Internal standard Y 371.029", "%", tuple(enumerate(values, start=1)), low, high, ADDRESS)


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ((100, 98, 97), "Internal standard Y 371.029: 97 to 100 %, inside its window all through"),
        ((100, 70, 130), "Internal standard Y 371.029: 70 to 130 %, inside its window all through"),
        ((100, 64, 58, 99), "Internal standard Y 371.029 outside its window: 58 % at positions 2–3"),
        (
            (100, 64, 100, 140),
            "Internal standard Y 371.029 outside its window: 64 % at position 2; 140 % at position 4",
        ),
    ],
)
def test_the_finding_names_where_it_left_its_window(values: tuple[float, ...], said: str) -> None:
    assert finding(track(*values)) == said


def test_a_track_without_a_window_says_from_where_to_where() -> None:
    assert finding(track(0.0, 1.5, 3.2, low=None, high=None)) == "Internal standard Y 371.029: 0 to 3.2 %"


def test_what_is_outside_is_a_lozenge_that_leads_to_its_position() -> None:
    drawing = track_plot(track(100, 60, 99))
    assert len(marks(drawing, "p-out", "path")) == 1
    assert len(marks(drawing, "p-point")) == 2
    assert 'href="/runs/R26-0001?at=2#p2"' in drawing
    assert "position 2: 60 %, outside" in drawing


def test_of_very_many_positions_only_those_outside_are_points() -> None:
    drawing = track_plot(track(*([100.0] * 500), 60.0))
    assert not marks(drawing, "p-point")
    assert len(marks(drawing, "p-out", "path")) == 1
    assert len(track_plot(track(*([100.0] * MOST_POINTS))).split("p-point")) == MOST_POINTS + 1


def test_one_position_is_no_track() -> None:
    assert track_plot(track(100.0)) == ""
    assert parsed(track_plot(track(100.0, 100.0))) is not None
