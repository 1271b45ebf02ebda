"""Layouts: what they refuse, and how they are stored."""

import json
from dataclasses import replace
from typing import Any

import pytest

from labresults.readers.layout import Applied, BadLayout, Layout, Shape
from labresults.readers.template import LineTemplate
from tests.readers.files import LONG, WIDE

FULL = replace(
    LONG,
    applied=frozenset({Applied.DILUTION, Applied.BLANK}),
    line_names=(("Copper", "Cu 324.754"),),
    thousands_sign=" ",
    encoding="cp1252",
    delimiter=";",
)


@pytest.mark.parametrize("layout", [LONG, WIDE, FULL], ids=["long", "wide", "full"])
def test_layouts_come_back_from_text(layout: Layout) -> None:
    assert Layout.from_json(layout.to_json()) == layout


@pytest.mark.parametrize(
    ("base", "changes", "says"),
    [
        (WIDE, {"decimal_sign": ";"}, "decimal sign must be"),
        (WIDE, {"thousands_sign": "."}, "are the same"),
        (WIDE, {"delimiter": ",", "decimal_sign": ","}, "not the decimal sign"),
        (WIDE, {"delimiter": "::"}, "one sign"),
        (WIDE, {"encoding": "klingon"}, "“klingon” is unknown"),
        (WIDE, {"encoding": "base64"}, "“base64” is unknown"),
        (WIDE, {"missing": ("OVER",), "over_range": ("over",)}, "both missing and over range"),
        (WIDE, {"unit": ""}, "the unit of the readings"),
        (WIDE, {"name": ""}, "a name"),
        (WIDE, {"version": 0}, "a version from 1 on"),
        (WIDE, {"position": "", "label": ""}, "heading of the position"),
        (WIDE, {"position_from_order": True}, "not from both"),
        (WIDE, {"heading_row": 0}, "rows count from 1"),
        (WIDE, {"label": "Position"}, "two things"),
        (WIDE, {"line_template": "{element}"}, "must have {element} and then {wavelength}"),
        (WIDE, {"mean": "Mean"}, "wide layout"),
        (WIDE, {"line": "Line"}, "wide layout"),
        (WIDE, {"element": "El"}, "wide layout"),
        (LONG, {"replicates": (), "mean": "Mean", "count": "n", "repeated_rows": True}, "of one row"),
        (
            LONG,
            {"replicates": (), "mean": "Mean", "count_of_mean": 2, "repeated_rows": True},
            "where rows are repeated",
        ),
        (LONG, {"line": ""}, "heading of the line, or those"),
        (LONG, {"mean": "Mean"}, "replicates, or that of their mean"),
        (LONG, {"replicates": (), "mean": "Mean", "sd": "SD"}, "needs the count"),
        (LONG, {"sd": "SD", "count": "n"}, "belong to a mean"),
        (LONG, {"count_of_mean": 0}, "1 or more"),
    ],
)
def test_layouts_that_cannot_be_applied(base: Layout, changes: dict[str, Any], says: str) -> None:
    with pytest.raises(BadLayout) as refused:
        replace(base, **changes)
    assert says in str(refused.value)


def test_all_that_is_wrong_is_said_at_once() -> None:
    with pytest.raises(BadLayout) as refused:
        Layout("x", 0, Shape.LONG, "", decimal_sign="x")
    assert str(refused.value).count(";") >= 4


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"shape": "tall"}, "tall"),
        ({"applied": ["everything"]}, "everything"),
        ({"colour": "blue"}, "Unknown settings: colour"),
        ({"heading_row": "one"}, "cannot be read"),
    ],
)
def test_stored_layouts_that_are_wrong(change: dict[str, Any], says: str) -> None:
    raw = json.loads(WIDE.to_json()) | change
    with pytest.raises(BadLayout, match=says):
        Layout.from_json(json.dumps(raw))


@pytest.mark.parametrize(
    ("template", "heading", "line"),
    [
        ("{element} {wavelength}", "Cu 324.754", "Cu 324.754"),
        ("{element} {wavelength}", "Y 371.029", "Y 371.029"),
        ("{element} {wavelength}", " Cu 324.754 ", "Cu 324.754"),
        ("{element} {wavelength}", "Cu  324.754", None),
        ("{element} {wavelength}", "cu 324.754", None),
        ("{element} {wavelength}", "Sample 12", None),
        ("{element} {wavelength}", "Cu", None),
        ("{element}{wavelength}", "Cu324.754", "Cu 324.754"),
        ("{element}_{wavelength} nm", "S_181,972 nm", "S 181.972"),
        ("{element}_{wavelength} nm", "S_181.972", None),
        ("{element} {wavelength}", "Cu 1.2.3", None),
        ("{element} {wavelength}", "Cu \u0663\u0662\u0664", None),
    ],
)
def test_templates_of_line_headings(template: str, heading: str, line: str | None) -> None:
    assert LineTemplate.parse(template).line(heading) == line
