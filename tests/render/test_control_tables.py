"""The appendix: control samples side by side, nothing lost and nothing mixed up."""

from dataclasses import replace

import pytest

from reports.document import ControlRow, fraction_of, of_fraction
from reports.render.control_tables import ControlTable, accepted, control_tables
from tests.render import documents

BLANK = ControlRow("R1", "method blank", "", "Cu", "mg/kg", "", "<0.5", "", "", "within")
MATERIAL = ControlRow(
    "R1", "certified reference material", "RM GC-17", "Cu", "%", "4870", "101.6", "recovery, %", "90 to 110", "within"
)


def _texts(table: ControlTable) -> list[list[str]]:
    return [[figure.text for figure in line.figures] for line in table.lines]


def _headings(table: ControlTable) -> list[list[str]]:
    return [[part.heading for part in block.parts] for block in table.blocks]


def test_control_samples_stand_side_by_side_with_analytes_down() -> None:
    zinc = replace(MATERIAL, analyte="Zn", expected="148", found="97.3")
    (table,) = control_tables([BLANK, MATERIAL, zinc], 174.0)
    assert [block.heading for block in table.blocks] == [
        "Method blank: within",
        "Certified reference material RM GC-17: all within",
    ]
    assert _headings(table) == [["found"], ["expected", "recovery, %", "limits"]]
    assert [(line.analyte, line.unit) for line in table.lines] == [("Cu", "mg/kg"), ("Zn", "")]
    assert _texts(table) == [["<0.5", "4870", "101.6", "90 to 110"], ["", "148", "97.3", "90 to 110"]]


def test_a_measure_with_its_number_stands_beside_what_was_found() -> None:
    row = replace(MATERIAL, unit="mg/kg", found="4950", measure="recovery 101.6 %")
    (table,) = control_tables([row], 174.0)
    assert _headings(table) == [["expected", "found", "recovery, %", "limits"]]
    assert _texts(table) == [["4870", "4950", "101.6", "90 to 110"]]


def test_verdicts_are_said_one_by_one_where_they_differ() -> None:
    (table,) = control_tables([MATERIAL, replace(MATERIAL, analyte="Zn", verdict="outside")], 174.0)
    assert table.blocks[0].heading == "Certified reference material RM GC-17"
    assert [texts[-1] for texts in _texts(table)] == ["within", "outside"]
    assert ["failed" in line.figures[-1].style for line in table.lines] == [False, True]


@pytest.mark.parametrize(
    "other",
    [
        pytest.param({}, id="measured again"),
        pytest.param({"run": "R2"}, id="another run"),
        pytest.param({"label": "RM GC-18"}, id="another material"),
        pytest.param({"measure": "relative difference, %"}, id="another measure"),
    ],
)
def test_what_is_not_the_same_is_not_put_into_one_block(other: dict[str, str]) -> None:
    tables = control_tables([MATERIAL, replace(MATERIAL, found="88.8", **other)], 174.0)
    blocks = [block for table in tables for block in table.blocks]
    assert len(blocks) == 2
    assert [block.parts[1].texts["Cu"] for block in blocks] == ["101.6", "88.8"]


def test_an_analyte_in_two_units_is_not_set_on_one_line() -> None:
    tables = control_tables([BLANK, replace(BLANK, label="in solution", unit="mg/L")], 174.0)
    assert [table.lines[0].unit for table in tables] == ["mg/kg", "mg/L"]


@pytest.mark.parametrize("width_mm", [100.0, 174.0, 261.0])
def test_no_row_is_lost_and_tables_keep_to_the_sheet(width_mm: float) -> None:
    rows = documents.controls(documents.columns(24))
    tables = control_tables(rows, width_mm)
    assert sum(len(block.units) for table in tables for block in table.blocks) == len(rows)
    assert all(24.0 + sum(block.width_mm for block in table.blocks) <= width_mm for table in tables)


def test_a_failure_that_was_accepted_is_told_with_its_reason() -> None:
    failed = replace(MATERIAL, verdict="outside", accepted_because="Hamid Castellane: within the material's own spread")
    assert accepted([BLANK, failed]) == (
        "Certified reference material RM GC-17, Cu, run R1: outside; accepted: "
        "Hamid Castellane: within the material's own spread",
    )


def test_total_and_dissolved_are_kept_apart() -> None:
    """Practice in waters: filtered in the field and not filtered never share a table; a blank may stand beside each."""
    duplicate = replace(MATERIAL, kind="laboratory duplicate", unit="mg/L", measure="relative difference, %")
    rows = [
        replace(BLANK, unit="mg/L"),
        replace(duplicate, label=of_fraction("KF26-00001", True)),
        replace(duplicate, label=of_fraction("another sample of this batch", True)),
        replace(duplicate, label=of_fraction("KF26-00002", False)),
    ]
    tables = control_tables(rows, 261.0)
    assert [[block.heading for block in table.blocks] for table in tables] == [
        [
            "Method blank: within",
            "Laboratory duplicate KF26-00001, dissolved: within",
            "Laboratory duplicate another sample of this batch, dissolved: within",
        ],
        ["Laboratory duplicate KF26-00002, total: within"],
    ]


@pytest.mark.parametrize(("filtered", "said"), [(True, "dissolved"), (False, "total"), (None, "")])
def test_a_label_says_what_it_speaks_for(filtered: bool | None, said: str) -> None:
    assert fraction_of(of_fraction("KF26-00001", filtered)) == said
    assert of_fraction("KF26-00001", None) == "KF26-00001"
