"""What is drawn rather than written: the rule of emission lines, and the codes."""

import re

import pytest
import segno

from reports.render.line_rule import line_rule
from reports.render.qr import qr_path

# Wavelengths in nm as common line tables list them; places computed by hand: 174 mm x (line - 170) / (340 - 170).
GOLD_NM, COPPER_NM, SULFUR_NM = 267.595, 327.395, 181.972


def _places(strokes: str) -> list[float]:
    return [float(x) for x in re.findall(r"M([\d.]+) ", strokes)]


def test_lines_stand_at_their_true_place() -> None:
    rule = line_rule((GOLD_NM, COPPER_NM, SULFUR_NM), 174.0)
    assert _places(rule.strokes) == [12.25, 99.89, 161.10]
    assert rule.ground == "M0 4.8H174"


@pytest.mark.parametrize(
    "lines",
    [(167.079,), (766.491,), (177.434, 766.491), (170.0, 170.0), (340.0,)],
    ids=["below 170 nm", "potassium alone", "phosphorus and potassium", "one line twice", "on a ten"],
)
def test_every_stroke_stands_on_the_rule(lines: tuple[float, ...]) -> None:
    places = _places(line_rule(lines, 174.0).strokes)
    assert len(places) == len(set(lines))
    assert all(0 <= place < 174.0 for place in places)


def test_without_lines_only_the_rule_is_drawn() -> None:
    assert line_rule((), 174.0).strokes == ""


@pytest.mark.parametrize("text", ["KF26-04175", "KF26-04175-D", "C26-0297/1 7KQ4-MX2R"])
def test_the_path_covers_exactly_the_dark_modules(text: str) -> None:
    code = qr_path(text)
    covered = {
        (int(x) + step, int(y))
        for x, y, length in re.findall(r"M(\d+) (\d+)h(\d+)v1h-\d+z", code.d)
        for step in range(int(length))
    }
    matrix = segno.make_qr(text, error="q", boost_error=False).matrix
    assert covered == {(x, y) for y, row in enumerate(matrix) for x, dark in enumerate(row) if dark}
    assert code.modules == len(matrix)


def test_a_laboratory_number_needs_the_smallest_code_only() -> None:
    assert qr_path("KF26-04175").modules == 21  # version 1 (ISO/IEC 18004): 21 modules each way
