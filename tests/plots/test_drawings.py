"""What the drawings show, read back from their SVG as XML."""

import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from labresults.plots.calibration import DrawnCurve, Standard, calibration_plot, residual_plot
from labresults.plots.internal_standard import Track, track_plot
from labresults.plots.lineage import Stage, Stands, lineage_plot
from labresults.plots.matrix import Matrix, State, matrix_plot
from labresults.plots.sequence import Check, Series, finding, sequence_plot
from labresults.plots.small import small_calibration

CURVE = DrawnCurve(
    line="Pb 220.353",
    coefficients=(10.0, 2000.0, 0.0),
    weighting="1/x²",
    standards=(
        Standard(1, 0.0, 11.0, None, True),
        Standard(2, 0.1, 209.0, -0.5, True, "/runs/R26-0001#p2"),
        Standard(3, 1.0, 2020.0, 0.5, True),
        Standard(4, 10.0, 20010.0, 0.0, True),
        Standard(5, 100.0, 230010.0, 15.0, False),
    ),
    solution_unit="mg/L",
    signal_unit="counts/s",
    samples=(0.5, 3.0, 500.0),
)
CHECKS = Series(
    "Pb 220.353",
    (Check(7, 100.8, True), Check(19, 102.9, True), Check(30, 113.4, False, "#p30"), Check(46, 104.2, True)),
)
SVG = "{http://www.w3.org/2000/svg}"


def parsed(drawing: str) -> ElementTree.Element:
    return ElementTree.fromstring(drawing.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1))


def marks(drawing: str, css: str, kind: str = "circle") -> list[ElementTree.Element]:
    return [element for element in parsed(drawing).iter(SVG + kind) if element.get("class") == css]


ALL = {
    "calibration": lambda: calibration_plot(CURVE),
    "residuals": lambda: residual_plot(CURVE),
    "sequence": lambda: sequence_plot(CHECKS, [], 90, 110, (19, 46)),
    "small": lambda: small_calibration(CURVE),
    "matrix": lambda: matrix_plot(Matrix(("Cu 324.754",), (1, 2), [list(State)[:2]])),
    "track": lambda: track_plot(Track("Y 371.029", "%", ((1, 100.0), (2, 60.0)), 70.0, 130.0)),
    "lineage": lambda: lineage_plot([Stage("reception", "KF26-04118", (Stands("S26-0311", "rock", "/s"),))], "Why?"),
}


@pytest.mark.parametrize("draw", ALL.values(), ids=ALL)
def test_every_drawing_says_its_finding_and_styles_nothing_itself(draw) -> None:  # type: ignore[no-untyped-def]
    drawing = draw()

    root = parsed(drawing)
    has_links = root.find(f".//{SVG}a") is not None and root.get("class") == "lineage"
    assert root.get("role") == ("group" if has_links else "img")  # what leads on is read one by one
    assert root.findtext(SVG + "title") == root.get("aria-label")
    assert not re.search(r"style=|<style|fill=|stroke=|nan", drawing)
    assert drawing == draw()


def test_a_calibration_shows_each_standard_and_crosses_out_what_was_left_out() -> None:
    drawing = calibration_plot(CURVE)

    assert len(marks(drawing, "p-open")) == 3  # the blank has no place on a logarithmic axis
    titles = [element.text or "" for element in parsed(drawing).iter(SVG + "title")]
    assert sum("left out" in title for title in titles) == 1
    assert 'href="/runs/R26-0001#p2"' in drawing
    assert "1/x², 3 standards and blank" in drawing


def test_samples_beyond_the_drawing_have_no_stroke() -> None:
    drawing = calibration_plot(CURVE)

    strokes = [element for element in marks(drawing, "p-thin", "path") if "v10" in (element.get("d") or "")]
    assert len(strokes) == 2


def test_standards_lie_on_the_curve_that_fits_them_exactly() -> None:
    exact = tuple(replace(s, y=10.0 + 2000.0 * s.x, used=True) for s in CURVE.standards)
    drawing = calibration_plot(replace(CURVE, standards=exact, samples=()))

    line = marks(drawing, "p-line", "path")[0].get("d") or ""
    points = [tuple(map(float, pair.split())) for pair in line.removeprefix("M").split("L")]
    for mark in marks(drawing, "p-open"):
        x, y = float(mark.get("cx") or 0), float(mark.get("cy") or 0)
        nearest = min(points, key=lambda point: abs(point[0] - x))
        assert abs(nearest[1] - y) < 6


def test_residuals_lie_above_or_below_the_middle_by_their_sign() -> None:
    drawing = residual_plot(CURVE)

    heights = [float(mark.get("cy") or 0) for mark in marks(drawing, "p-point")]
    low, high, none = heights
    assert high < none < low
    assert "+0.50" in drawing
    assert "\N{MINUS SIGN}0.50" in drawing


def test_a_failed_check_is_a_lozenge_with_its_number_and_the_others_are_dots() -> None:
    drawing = sequence_plot(CHECKS, [], 90, 110, (19, 46))

    assert len(marks(drawing, "p-point")) == 3
    assert len(marks(drawing, "p-out", "path")) == 1
    assert ">113.4</text>" in drawing
    assert len(marks(drawing, "p-late", "rect")) == 1


def test_without_a_failure_nothing_is_washed_red() -> None:
    held = Series("Cu 324.754", tuple(replace(check, holds=True) for check in CHECKS.checks))

    assert not marks(sequence_plot(held, [], 90, 110, None), "p-late", "rect")


def test_lineage_ends_in_the_number_that_was_asked_about_and_escapes_what_a_client_wrote() -> None:
    stages = [
        Stage("reception", "KF26-04118", (Stands('<b>&"x', "client's own"),)),
        Stage("certificates", "4.12 g/t", ()),
    ]

    drawing = lineage_plot(stages, "Lineage of 4.12 g/t")

    root = parsed(drawing)
    last = [element.text for element in root.iter(SVG + "text") if "l-last" in (element.get("class") or "")]
    assert last == ["4.12 g/t"]
    assert '<b>&"x' in [element.text for element in root.iter(SVG + "text")]


def test_what_something_below_a_step_stands_on_is_drawn_further_in() -> None:
    """Given a curve, its standard, and what that was made from; then each begins 13 px further to the right."""
    things = (Stands("Curve", "", "#curve"), Stands("Lot W-1", "", "/l/W-1", 1), Stands("Lot L-1", "", "/l/L-1", 2))

    root = parsed(lineage_plot([Stage("runs", "1057 counts/s", things)], "Lineage"))

    left = {text.text: float(text.get("x") or 0) for text in root.iter(SVG + "text")}
    assert (left["Lot W-1"] - left["Curve"], left["Lot L-1"] - left["Lot W-1"]) == (13.0, 13.0)
    assert [link.get("href") for link in root.iter(SVG + "a")] == ["#curve", "/l/W-1", "/l/L-1"]


def test_lineage_goes_on_in_a_row_below_where_a_row_is_full() -> None:
    stages = [Stage("runs", f"step {number}", ()) for number in range(1, 5)]

    root = parsed(lineage_plot(stages, "Lineage", in_a_row=3))

    top = {text.text: float(text.get("y") or 0) for text in root.iter(SVG + "text")}
    assert top["step 1"] == top["step 2"] == top["step 3"] < top["step 4"]


def test_checks_say_which_of_them_left_the_limits() -> None:
    assert finding(CHECKS, 90, 110) == ("Pb 220.353 leaves 90–110 %: 113.4 % at position 30; 3 verifications hold.")
    held = replace(CHECKS, checks=CHECKS.checks[:2])
    assert finding(held, 90, 110) == "Pb 220.353: all 2 verifications lie within 90–110 %."


def test_a_calibration_in_small_crosses_out_what_was_left_out() -> None:
    drawing = small_calibration(CURVE)
    assert "Pb 220.353, largest residual 0.5 %, 1 left out" in drawing
    assert len(marks(drawing, "p-thin", "path")) == 1
    assert len(marks(drawing, "p-point")) == 3
