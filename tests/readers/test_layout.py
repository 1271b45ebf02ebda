"""Layouts: what they refuse, and how they are stored."""

import json
from dataclasses import replace
from typing import Any

import pytest

from labresults.readers.layout import FIXED, Applied, BadLayout, Blocks, Layout, Shape
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


NEW = {
    "units_row", "unit_column", "unit_names", "concentration", "concentration_unit", "time", "date_order", "above",
    "blocks", "repeated_columns", "column_starts",
}  # fmt: skip


@pytest.mark.parametrize("layout", [LONG, WIDE, FULL], ids=["long", "wide", "full"])
def test_layouts_saved_before_there_were_more_settings_are_read_as_they_were(layout: Layout) -> None:
    old = {key: value for key, value in json.loads(layout.to_json()).items() if key not in NEW}
    assert len(old) == 29
    assert Layout.from_json(json.dumps(old)) == layout


ABOVE = replace(WIDE, position="", label="", above=(("Position", "position"),), blocks=Blocks.POSITION)


@pytest.mark.parametrize(
    "layout", [ABOVE, replace(WIDE, delimiter=FIXED, column_starts=(1, 9), unit_names=(("x", "y"),))]
)
def test_new_settings_come_back_from_text_too(layout: Layout) -> None:
    assert Layout.from_json(layout.to_json()) == layout


@pytest.mark.parametrize(
    ("base", "changes", "says"),
    [
        (WIDE, {"delimiter": FIXED}, "fixed width need the place"),
        (WIDE, {"column_starts": (1, 5)}, "only they do"),
        (WIDE, {"delimiter": FIXED, "column_starts": (5, 1)}, "rising"),
        (WIDE, {"date_order": "year first"}, "day first or the month first"),
        (WIDE, {"above": (("Position", "position"),)}, "above the table or in a column"),
        (WIDE, {"above": (("Operator", "operator"),)}, "says one of position, label"),
        (WIDE, {"above": (("A", "time"), ("A", "unit"))}, "a word of its own"),
        (WIDE, {"above": (("", "time"),)}, "a word of its own"),
        (WIDE, {"blocks": Blocks.POSITION}, "where a block is one position"),
        (WIDE, {"unit_column": "Unit"}, "belongs to a long layout"),
        (WIDE, {"position": "", "label": "", "heading_row": 0, "position_from_order": True}, "headings that are named"),
        (WIDE, {"line_template": "{element} {wavelength} #{n}", "count_of_mean": 3}, "one column of means"),
        (WIDE, {"concentration": "Conc"}, "wide layout"),
        (WIDE, {"line_template": "{element} {wavelength} {what}"}, "must have {element}"),
        (ABOVE, {"position_from_order": True}, "not from both"),
        (LONG, {"above": (("Line", "line"),)}, "heading of the line, or those"),
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
        (WIDE, {"heading_row": -1}, "rows count from 1"),
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
        (LONG, {"replicates": ()}, "replicates, or that of their mean"),
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
        ("{element} {wavelength} #{n}", "Cu 324.754 #12", "Cu 324.754"),
        ("{element} {wavelength} #{n}", "Cu 324.754", None),
        ("{element} {wavelength} ({unit})", "Cu 324.754 (µg/L)", "Cu 324.754"),
        ("mean of {element} {wavelength}", "mean of Cu 324.754", "Cu 324.754"),
    ],
)
def test_templates_of_line_headings(template: str, heading: str, line: str | None) -> None:
    assert LineTemplate.parse(template).line(heading) == line
