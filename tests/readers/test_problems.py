"""Files that are wrong: every problem by row and column, all of them, and never a guess."""

import io
import zipfile
from dataclasses import replace

import pytest

from labresults.readers.layout import Layout
from labresults.readers.read import read
from tests.readers.files import LONG, LONG_TEXT, WIDE, WIDE_TEXT, workbook

HEAD = "Position;Name;Cu 324.754\n"


@pytest.mark.parametrize(
    ("layout", "content", "row", "column", "says"),
    [
        (WIDE, b"", None, None, "empty"),
        (WIDE, b" \n\n", None, None, "empty"),
        (WIDE, b"\xff\xfe", None, None, "no rows"),
        (WIDE, workbook(("Empty", [])), None, None, "no rows"),
        (WIDE, b"\xd0\xcf\x11\xe0\xa1\xb1", None, None, "old kind"),
        (WIDE, b"PK\x03\x04 cut off", None, None, "damaged or cut off"),
        (WIDE, HEAD.encode(), 1, None, "nothing under the headings"),
        (WIDE, b"Position;Name;\xb5\n", 1, None, "bytes at place 14 are not utf-8"),
        (WIDE, HEAD.encode() + b"1;A;1\n2;\xb5;2\n", 3, None, "are not utf-8"),
        (replace(WIDE, encoding="cp1252"), b"\xef\xbb\xbf" + HEAD.encode(), 1, None, "mark of utf-8-sig"),
        (WIDE, HEAD.encode("utf-16-le"), 1, None, "zero bytes"),
        (replace(WIDE, heading_row=9), WIDE_TEXT.encode(), 9, None, "heading row is not there"),
        (WIDE, b"Position;name;Cu 324.754\n1;A;1\n", 1, "Name", "The file has \u201cname\u201d"),
        (WIDE, b"Position;Name;Name;Cu 324.754\n1;A;A;1\n", 1, "Name", "columns B, C"),
        (WIDE, b"Position;Name;Cu 324.754;Weight\n1;A;1;2\n", 1, "Weight", "neither a line nor named"),
        (WIDE, b"Position;Name;Cu 324.754;\n1;A;1;2\n", 2, None, "4 fields, the headings are 3"),
        (WIDE, b"Position;Name;Cu 324.754;Cu 324.754\n1;A;1;2\n", 1, "Cu 324.754 (D)", "more than one column"),
        (replace(WIDE, ignored=("Weight",)), b"Position;Name;Weight\n1;A;2\n", 1, None, "no heading names a line"),
        (WIDE, HEAD.encode() + b"1;A;12.x\n", 2, "Cu 324.754", "\u201c12.x\u201d is not a number"),
        (WIDE, HEAD.encode() + b"1;A;1,234\n", 2, "Cu 324.754", "can be read as 1.234 or as 1234"),
        (WIDE, HEAD.encode() + b"1;A;1,234.5\n", 2, "Cu 324.754", "signs that part thousands"),
        (replace(WIDE, decimal_sign=","), HEAD.encode() + b"1;A;1.234\n", 2, "Cu 324.754", "1.234 or as 1234"),
        (replace(WIDE, thousands_sign=","), HEAD.encode() + b"1;A;12,34\n", 2, "Cu 324.754", "odd places"),
        (WIDE, HEAD.encode() + b"1;A;<0.01\n", 2, "Cu 324.754", "is not a number"),
        (WIDE, HEAD.encode() + b"1;A;1e999\n", 2, "Cu 324.754", "too large"),
        (WIDE, HEAD.encode() + b"1;A;nan\n", 2, "Cu 324.754", "is not a number"),
        (replace(WIDE, missing=()), HEAD.encode() + b"1;A;\n", 2, "Cu 324.754", "empty"),
        (WIDE, HEAD.encode() + b"x;A;1\n", 2, "Position", "is not a number"),
        (WIDE, HEAD.encode() + b"1.5;A;1\n", 2, "Position", "not a whole number"),
        (WIDE, HEAD.encode() + b"0;A;1\n", 2, "Position", "no position 0"),
        (WIDE, HEAD.encode() + b"1; ;1\n", 2, "Name", "label is blank"),
        (WIDE, HEAD.encode() + b"1;A\n", 2, None, "2 fields, the headings are 3"),
        (WIDE, HEAD.encode() + b"1;A;1\n1;A;2\n", 3, "Cu 324.754", "already in row 2"),
        (replace(WIDE, position=""), b"Name;Cu 324.754\nA;1\nA;2\n", 3, "Cu 324.754", "\u201cA\u201d has Cu 324.754"),
        (WIDE, HEAD.encode() + b"1;A;12 mg/L\n", 2, "Cu 324.754", "Take the unit out"),
        (WIDE, HEAD.encode() + b"1;A;<1\n", 2, "Cu 324.754", "limits are applied here"),
        (WIDE, HEAD.encode() + b"1;A;overflow\n", 2, "Cu 324.754", "word for missing or for over range"),
        (WIDE, HEAD.encode() + b"1;A;1,5\n", 2, "Cu 324.754", "this layout has a decimal point."),
        (replace(WIDE, decimal_sign=","), HEAD.encode() + b"1;A;1.5\n", 2, "Cu 324.754", "a decimal comma."),
        (WIDE, HEAD.encode() + b'1;A;1\n2;"B;2\n', 3, None, "do not close"),
        (WIDE, HEAD.encode() + b"1;A;1\n\nPrinted at noon\n", 4, None, "after the end of the table"),
        (replace(WIDE, repeated_rows=True), HEAD.encode() + b"1;A;1\n1;B;2\n", 3, None, "B\u201d here"),
        (LONG, LONG_TEXT.replace("Pb 220.353,3.5", "lead,3.5").encode(), 3, "Line", "does not name a line"),
        (LONG, LONG_TEXT.replace("Pb 220.353,3.5", ",3.5").encode(), 3, "Line", "line is blank"),
        (LONG, LONG_TEXT.replace("Reading", "Value").encode(), 1, "Reading {n}", "no column with this heading"),
        (LONG, LONG_TEXT.replace("1210.1", "12l0.1").encode(), 4, "Reading 3", "is not a number"),
    ],
)
def test_one_problem_named_by_row_and_column(
    layout: Layout, content: bytes, row: int | None, column: str | None, says: str
) -> None:
    # when a file with one fault is read
    found = read(content, "readings.csv", layout)
    # then the fault is named, with its place and what to do
    assert [(p.row, p.column) for p in found.problems] == [(row, column)]
    assert says in str(found.problems[0])
    assert found.problems[0].what_to_do.endswith(".")
    assert (found.problems[0].file, bool(found.problems[0].expected)) == ("readings.csv", True)


@pytest.mark.parametrize(
    ("sd", "count", "column", "says"),
    [("-0.1", "3", "SD", "below zero"), ("0.1", "0", "n", "0 replicates"), ("0.1", "x", "n", "not a number")],
)
def test_spread_and_count_that_cannot_be(sd: str, count: str, column: str, says: str) -> None:
    layout = replace(LONG, replicates=(), mean="Mean", sd="SD", count="n")
    found = read(f"Position,Name,Line,Mean,SD,n\n1,A,Cu 324.754,1,{sd},{count}\n".encode(), "x", layout)
    assert [(p.row, p.column) for p in found.problems] == [(2, column)]
    assert says in found.problems[0].what


def test_all_problems_are_named_not_the_first() -> None:
    text = HEAD + "1;A;x\n2;;2\nz;C;3\n4;D;4;5\n5;E;1,5\n5;E;6\n"
    found = read(text.encode(), "x", WIDE)
    assert [problem.row for problem in found.problems] == [2, 3, 4, 5, 6, 7]


def test_merged_and_broken_cells_of_a_workbook() -> None:
    content = workbook(
        ("Run", [["Position", "Name", "Cu 324.754"], [1, "A", "=1/0"], [2, "B", 3], [3, "C", "#N/A"]]), merged="B3:B4"
    )
    found = read(content, "x", WIDE)
    assert [(p.row, p.column, p.what) for p in found.problems] == [
        (2, "Cu 324.754", "the cell shows a formula without its result."),
        (3, "B", "cells B3:B4 are merged."),
        (4, "Name", "the label is blank."),
    ]


def test_an_error_in_a_cell_of_a_workbook() -> None:
    content = workbook(("Run", [["Position", "Name", "Cu 324.754"], [1, "A", "#DIV/0!"]]))
    assert [(p.row, p.column, p.what) for p in read(content, "x", WIDE).problems] == [
        (2, "Cu 324.754", "the cell shows #DIV/0!.")
    ]


def test_merged_title_above_the_table_does_no_harm() -> None:
    content = workbook(("Run", [["Our run", None], ["Position", "Name", "Cu 324.754"], [1, "A", 1]]), merged="A1:C1")
    assert read(content, "x", replace(WIDE, heading_row=2)).problems == ()


def test_a_sheet_that_is_not_there() -> None:
    content = workbook(("Run", [["Position"]]), ("Notes", [["x"]]))
    assert "“Run”, “Notes”" in str(read(content, "x", replace(WIDE, sheet="Readings")).problems[0])


def test_no_damage_to_a_workbook_makes_it_fail() -> None:
    # given a workbook whose archive names a version that nobody knows
    content = bytearray(workbook(("Run", [["Position", "Name", "Cu 324.754"], [1, "A", 1]])))
    content[content.rindex(b"PK\x01\x02") + 6] = 207
    assert "damaged" in read(bytes(content), "x", WIDE).problems[0].what


def test_an_archive_that_is_no_workbook() -> None:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as archive:
        archive.writestr("readings.csv", WIDE_TEXT)
    assert "not a workbook" in read(content.getvalue(), "x", WIDE).problems[0].what
