"""Rows of one place that come again: replicates, another cup with the same number, or a second calibration."""

from dataclasses import replace

import pytest

from labresults.readers.layout import Layout
from labresults.readers.read import read
from tests.readers.files import LONG, WIDE

BY_LABEL = replace(WIDE, position="")
ROWS = replace(WIDE, repeated_rows=True)
LONG_ROWS = replace(LONG, replicates=("Reading",), repeated_rows=True)

STANDARDS = "Standard 0;1\nStandard 1;2\nStandard 2;3\n"
LONG_HEAD = "Position,Name,Line,Reading\n"


def test_a_second_calibration_is_said_once_with_its_rows() -> None:
    # given a file without numbers, in which the standards are read again after the samples
    text = "Name;Cu 324.754\n" + STANDARDS + "KF26-00001;7\nKF26-00002;8\n" + STANDARDS + "KF26-00003;9\n"
    # when it is read
    problems = read(text.encode(), "run.csv", BY_LABEL).problems
    # then one problem names it as what it is, with the rows of both
    assert [(p.row, p.file) for p in problems] == [(7, "run.csv")]
    assert "rows 7 to 9 bring “Standard 0”, “Standard 1”, “Standard 2” again" in problems[0].what
    assert "stand in rows 2 to 4 already: a second calibration that nobody announced" in problems[0].what


def test_its_rows_can_be_struck() -> None:
    text = "Name;Cu 324.754\n" + STANDARDS + "KF26-00001;7\n" + STANDARDS
    found = read(text.encode(), "x", BY_LABEL, frozenset({6, 7, 8}))
    assert (found.problems, found.struck, found.rows) == ((), (6, 7, 8), 4)
    assert [r.mean for r in found.readings] == [1, 2, 3, 7]


def test_two_cups_with_one_number() -> None:
    problems = read(b"Position;Name;Cu 324.754\n1;A;1\n2;B;2\n2;C;3\n", "x", WIDE).problems
    assert [(p.row, p.column) for p in problems] == [(4, None), (4, "Cu 324.754")]
    assert (problems[0].found, problems[0].expected) == ("C", "B")
    assert "two cups may bear one number" in problems[1].what_to_do


def test_one_position_with_two_labels_at_different_lines() -> None:
    text = "Position,Name,Line,Reading 1\n1,A,Cu 324.754,1\n1,B,Pb 220.353,2\n"
    assert [(p.row, p.found, p.expected) for p in read(text.encode(), "x", LONG).problems] == [(3, "B", "A")]


@pytest.mark.parametrize(
    ("layout", "text"),
    [
        (ROWS, "Position;Name;Cu 324.754\n1;A;1\n1;A;3\n2;B;5\n2;B;7\n"),
        (ROWS, "Position;Name;Cu 324.754\n1;A;1\n2;B;5\n1;A;3\n2;B;7\n"),
        (LONG_ROWS, LONG_HEAD + "1,A,Cu 324.754,1\n2,B,Cu 324.754,5\n1,A,Cu 324.754,3\n2,B,Cu 324.754,7\n"),
        (LONG_ROWS, LONG_HEAD + "1,A,Cu 324.754,1\n1,A,Cu 324.754,3\n2,B,Cu 324.754,5\n2,B,Cu 324.754,7\n"),
    ],
    ids=["together", "round after round", "long, round after round", "long, line by line"],
)
def test_replicates_stand_together_or_come_in_rounds(layout: Layout, text: str) -> None:
    found = read(text.encode(), "x", layout)
    assert (found.problems, [r.replicates for r in found.readings]) == ((), [("1", "3"), ("5", "7")])


def test_replicates_of_a_table_that_goes_line_by_line() -> None:
    rows = [
        f"{p},{n},{line},{v}" for line in ("Cu 324.754", "Pb 220.353") for p, n in ((1, "A"), (2, "B")) for v in (1, 3)
    ]
    found = read((LONG_HEAD + "\n".join(rows)).encode(), "x", LONG_ROWS)
    assert (found.problems, {r.replicates for r in found.readings}) == ((), {("1", "3")})


def test_a_lone_reading_further_down_is_no_replicate() -> None:
    problems = read(b"Position;Name;Cu 324.754\n1;A;1\n1;A;3\n2;B;5\n1;A;9\n", "x", ROWS).problems
    assert [(p.row, p.what) for p in problems] == [(5, "position 1 comes again here, after other positions.")]


# ------------------------------------------------------------ rows that a person leaves out

FAULTS = "Position;Name;Cu 324.754\n1;A;1\n2;B;x\n3;C;3;4\n4;;5\n5;E;5\n"


def test_a_struck_row_is_not_read_and_its_problems_go_with_it() -> None:
    assert [p.row for p in read(FAULTS.encode(), "x", WIDE).problems] == [3, 4, 5]
    assert [p.row for p in read(FAULTS.encode(), "x", WIDE, frozenset({3, 5})).problems] == [4]
    whole = read(FAULTS.encode(), "x", WIDE, frozenset({3, 4, 5}))
    assert (whole.problems, whole.struck, [r.position for r in whole.readings]) == ((), (3, 4, 5), [1, 5])


@pytest.mark.parametrize("row", [1, 7, 99], ids=["the headings", "below the table", "far below"])
def test_a_struck_row_that_is_not_there_is_a_problem(row: int) -> None:
    problems = read(b"Position;Name;Cu 324.754\n1;A;1\n", "x", WIDE, frozenset({row})).problems
    assert [(p.row, p.what) for p in problems] == [(row, f"the table has no row {row} that could be struck.")]


def test_the_first_of_two_can_be_struck_as_well() -> None:
    text = b"Position;Name;Cu 324.754\n1;A;1\n1;A;2\n"
    assert [r.mean for r in read(text, "x", WIDE, frozenset({2})).readings] == [2.0]
    assert [r.mean for r in read(text, "x", WIDE, frozenset({3})).readings] == [1.0]
