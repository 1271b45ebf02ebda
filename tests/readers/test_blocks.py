"""When positions were read, lines above a table, tables that begin again, and headings that must be looked for."""

from dataclasses import replace

import pytest

from labresults.readers.layout import Blocks, Layout, Shape
from labresults.readers.read import read
from labresults.readers.reading import ReadFile
from tests.readers.files import WIDE, workbook


def said(found: ReadFile) -> list[tuple[int | None, str, str, tuple[str, ...]]]:
    return [(reading.position, reading.label, reading.line, reading.replicates) for reading in found.readings]


PLAIN = "Position;Name;Cu 324.754\n1;A;1.5\n2;B;2.5\n"


# ------------------------------------------------------------ times

TIMED = replace(WIDE, time="Read at")


@pytest.mark.parametrize(
    ("text", "order", "time"),
    [
        ("2026-11-16 21:04:05", "", "2026-11-16T21:04:05"),
        ("16.11.2026 9:30", "", "2026-11-16T09:30:00"),
        ("2026-11-16T09:30:00+01:00", "", "2026-11-16T09:30:00+01:00"),
        ("03/04/2026 12:00", "day first", "2026-04-03T12:00:00"),
        ("03/04/2026 12:00", "month first", "2026-03-04T12:00:00"),
        ("", "", ""),
    ],
)
def test_when_a_position_was_read(text: str, order: str, time: str) -> None:
    found = read(f"Position;Name;Read at;Cu 324.754\n1;A;{text};1\n".encode(), "x", replace(TIMED, date_order=order))
    assert (found.problems, found.readings[0].time) == ((), time)


CLOCKED = replace(TIMED, above=(("Date", "time"),), heading_row=2)


def test_a_clock_needs_its_day_above_and_passes_midnight() -> None:
    head = "Date: {day}\nPosition;Name;Read at;Cu 324.754\n"
    text = head + "1;A;22:50:00;1\n2;B;23:59:30;2\n3;C;00:08;3\n4;D;;4\n5;E;0:17;5\n"
    found = read(text.format(day="16 Nov 2026").encode(), "x", CLOCKED)
    assert (found.problems, [r.time for r in found.readings]) == (
        (),
        ["2026-11-16T22:50:00", "2026-11-16T23:59:30", "2026-11-17T00:08:00", "", "2026-11-17T00:17:00"],
    )
    lacking = read(text.format(day="").encode(), "x", CLOCKED).problems
    assert [(p.row, p.expected) for p in lacking] == [(1, "Date")]
    mixed = read(text.format(day="9999-12-31").replace("00:08", "00:08Z").encode(), "x", CLOCKED)
    assert [r.time[-6:] for r in mixed.readings][2] == "+00:00"
    alone = read(text.format(day="").encode(), "x", replace(CLOCKED, above=())).problems
    assert [(p.row, p.column) for p in alone] == [(3, "Read at"), (4, "Read at"), (5, "Read at"), (7, "Read at")]


def test_a_date_that_can_be_read_in_two_ways_is_asked() -> None:
    problems = read(b"Position;Name;Read at;Cu 324.754\n1;A;03/04/2026 12:00;1\n", "x", TIMED).problems
    assert [(p.row, p.column) for p in problems] == [(2, "Read at")]
    assert "day 3 of month 4" in problems[0].what


# ------------------------------------------------------------ lines above, and blocks

BY_POSITION = Layout(
    "a block a position",
    1,
    Shape.LONG,
    "counts/s",
    element="El",
    wavelength="nm",
    replicates=("R{n}",),
    heading_row=0,
    above=(("Position", "position"), ("Solution", "label"), ("Read at", "time")),
    blocks=Blocks.POSITION,
)
BLOCKS = """Evening run
Position: 1
Solution: Blank; second
Read at: 2026-11-16 21:00

El;nm;R1;R2
Cu;324.754;1;3
Pb;220.353;5;7

Position;2
Solution;KF26-00001
Read at = 2026-11-16 21:05
El;nm;R1;R2
Cu;324.754;2;4
"""


def test_a_block_for_each_position_with_lines_above() -> None:
    found = read(BLOCKS.encode(), "x", BY_POSITION)
    assert found.problems == ()
    assert said(found) == [
        (1, "Blank; second", "Cu 324.754", ("1", "3")),
        (1, "Blank; second", "Pb 220.353", ("5", "7")),
        (2, "KF26-00001", "Cu 324.754", ("2", "4")),
    ]
    assert [r.time for r in found.readings] == ["2026-11-16T21:00:00"] * 2 + ["2026-11-16T21:05:00"]
    assert [r.row for r in found.readings] == [7, 8, 14]


def test_what_stands_above_one_block_is_not_said_of_the_next() -> None:
    text = BLOCKS.replace("Position;2\n", "")
    found = read(text.encode(), "x", BY_POSITION)
    assert [p.what for p in found.problems] == ["no line above this table says its position."]
    assert {r.position for r in found.readings} == {1}


def test_blocks_can_be_the_positions_themselves() -> None:
    layout = replace(BY_POSITION, above=(("Solution", "label"),), position_from_order=True)
    found = read(BLOCKS.encode(), "x", layout)
    assert [(r.position, r.line) for r in found.readings] == [(1, "Cu 324.754"), (1, "Pb 220.353"), (2, "Cu 324.754")]


def test_a_block_for_each_replicate_of_the_run() -> None:
    one = "Position;Name;Cu 324.754\n1;A;1\n2;B;5\n"
    found = read((one + "\n" + one.replace(";1\n", ";3\n")).encode(), "x", replace(WIDE, blocks=Blocks.REPLICATE))
    assert (found.problems, said(found)) == (
        (),
        [(1, "A", "Cu 324.754", ("1", "3")), (2, "B", "Cu 324.754", ("5", "5"))],
    )


def test_positions_from_their_order_begin_anew_in_each_replicate() -> None:
    layout = replace(WIDE, position="", position_from_order=True, blocks=Blocks.REPLICATE)
    found = read(b"Name;Cu 324.754\nA;1\nA;2\nName;Cu 324.754\nA;3\nA;4\n", "x", layout)
    assert (found.problems, said(found)) == (
        (),
        [(1, "A", "Cu 324.754", ("1", "3")), (2, "A", "Cu 324.754", ("2", "4"))],
    )


def test_a_position_twice_in_one_block_of_replicates_is_still_a_problem() -> None:
    text = b"Position;Name;Cu 324.754\n1;A;1\n1;A;2\nPosition;Name;Cu 324.754\n1;A;3\n"
    assert [p.row for p in read(text, "x", replace(WIDE, blocks=Blocks.REPLICATE)).problems] == [3]


def test_more_lines_in_a_second_block() -> None:
    text = "Position;Name;Cu 324.754\n1;A;1\n2;B;2\n\nmore lines\nPosition;Name;Pb 220.353\n1;A;3\n2;B;4\n"
    found = read(text.encode(), "x", replace(WIDE, blocks=Blocks.MORE))
    assert (found.problems, [(r.position, r.line, r.mean) for r in found.readings]) == (
        (),
        [(1, "Cu 324.754", 1), (2, "Cu 324.754", 2), (1, "Pb 220.353", 3), (2, "Pb 220.353", 4)],
    )


def test_headings_that_come_again_where_the_layout_says_once_are_problems() -> None:
    one = "Position;Name;Cu 324.754\n1;A;1\n"
    found = read((one + one.replace("1;A", "2;B")).encode(), "x", WIDE)
    assert [(p.row, p.column, p.what) for p in found.problems] == [(3, "Position", "the headings come again here.")]


def test_a_line_above_can_say_the_line_of_its_block() -> None:
    layout = Layout(
        "a block a line", 1, Shape.LONG, "counts/s", position="Pos", replicates=("R",),
        heading_row=2, above=(("Line", "line"),), blocks=Blocks.MORE,
    )  # fmt: skip
    text = b"Line: Cu 324.754\nPos;R\n1;5\n2;6\nLine: Pb 220.353\nPos;R\n1;7\n2;8\n"
    found = read(text, "x", layout)
    assert (found.problems, [(r.position, r.line, r.mean) for r in found.readings]) == (
        (),
        [(1, "Cu 324.754", 5), (2, "Cu 324.754", 6), (1, "Pb 220.353", 7), (2, "Pb 220.353", 8)],
    )


# ------------------------------------------------------------ where the headings are


def test_headings_are_looked_for_where_the_layout_does_not_say_their_row() -> None:
    layout = replace(WIDE, heading_row=0)
    for titles in ("", "One line\n", "Run;of;the day\n\nAnother\n"):
        found = read((titles + PLAIN).encode(), "x", layout)
        assert (found.problems, len(found.readings)) == ((), 2)
    problem = read(b"Pos;Name;Cu 324.754\n1;A;1\n", "x", layout).problems[0]
    assert (problem.what, problem.expected) == ("no row has all the headings of the layout.", "Position, Name")


def test_a_workbook_with_a_row_of_units_and_blocks() -> None:
    rows = [
        ["Evening"],
        ["Position", "Name", "Cu 324.754"],
        [None, None, "ug/L"],
        [1, "A", 1500],
        [None],
        ["Position", "Name", "Pb 220.353"],
        [None, None, "mg/L"],
        [1, "A", 2.5],
    ]
    layout = replace(WIDE, heading_row=2, units_row=True, blocks=Blocks.MORE)
    found = read(workbook(("Run", rows)), "x", layout)
    assert (found.problems, [(r.line, r.mean, r.replicates) for r in found.readings]) == (
        (),
        [("Cu 324.754", 1.5, ("1500",)), ("Pb 220.353", 2.5, ("2.5",))],
    )
