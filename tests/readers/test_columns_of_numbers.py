"""Whole columns read at once say what cell by cell says, to the last bit."""

from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from labresults.readers.assemble import mean_and_sd, summarised
from labresults.readers.cells import CellReader, quick_numbers
from labresults.readers.numbers import Unread, read_number
from labresults.readers.observations import Observation
from labresults.readers.read import read
from tests.readers.files import LONG, WIDE

NUMBERS = st.floats(allow_nan=False, allow_infinity=False).map(repr)
_ODD = (
    "|1,5|1.5|-|+|.|1.|.5|1e5|1e999|nan|inf|1_0|1 2|\u0661|0x1|-0|\u22121.5| 7 |7\n8|e5|1e|--1|saturated|none|12 mg/L"
)
ODD = st.sampled_from([" ", "1,234.5", "1\u00a0234", *_ODD.split("|")])


@given(cells=st.lists(NUMBERS | ODD, min_size=1, max_size=8), sign=st.sampled_from([".", ","]))
@example(cells=["1", "2\n3", ""], sign=".")
def test_a_quick_column_says_what_each_cell_says(cells: list[str], sign: str) -> None:
    one_by_one = [read_number(cell, sign) for cell in cells]
    quick = quick_numbers(cells, sign)
    assert quick is None or list(map(repr, quick)) == list(map(repr, one_by_one))


@given(values=st.lists(st.floats(-1e300, 1e300), min_size=1, max_size=600), sign=st.sampled_from([".", ","]))
def test_plain_columns_are_quick(values: list[float], sign: str) -> None:
    assert quick_numbers([repr(value).replace(".", sign) for value in values], sign) == values


@given(cells=st.lists(NUMBERS | ODD, max_size=40), at=st.integers(0, 40), sign=st.sampled_from([".", ","]))
def test_one_odd_cell_changes_nothing_of_the_others(cells: list[str], at: int, sign: str) -> None:
    # given cells read together and each by itself
    layout = replace(LONG, decimal_sign=sign)
    together = CellReader(layout)
    column = together.numbers("x", cells, list(range(len(cells))))
    alone = CellReader(layout)
    singles = [alone.numbers("x", [cell], [row]) for row, cell in enumerate(cells)]
    # then numbers, words and problems are the same
    assert list(map(repr, column.values)) == [repr(single.values[0]) for single in singles]
    assert column.over == {row for row, single in enumerate(singles) if single.over}
    assert together.problems == alone.problems
    assert all(isinstance(read_number(cells[p.row or 0], sign), Unread) for p in together.problems)


def observed(values: Sequence[float | None], over: bool = False) -> Observation:
    return Observation(
        1, 1, "A", "Cu 324.754", "", tuple(map(str, values)), tuple(values), over,
        None, "", False, None, "", 1, None, "", 1.0, "x", 0, "",
    )  # fmt: skip


FLOATS = st.floats(-1e9, 1e9) | st.none()


@given(rows=st.lists(st.tuples(st.lists(FLOATS, min_size=1, max_size=5), st.booleans()), min_size=1, max_size=30))
def test_means_taken_together_are_those_taken_one_by_one(rows: list[tuple[list[float | None], bool]]) -> None:
    summaries = summarised([observed(values, over) for values, over in rows])
    for (values, over), summary in zip(rows, summaries, strict=True):
        known = [value for value in values if value is not None]
        assert (summary.mean, summary.sd) == ((None, None) if over else mean_and_sd(known))
        assert (summary.number, summary.saturated, summary.missing) == (len(known), over, not known and not over)


CELLS = st.sampled_from(["1.25", "-0.5", "1e3", "saturated", "none", "", "1,5", "x", " 2 ", "3."])


@given(rows=st.lists(st.tuples(st.integers(1, 9), st.tuples(CELLS, CELLS, CELLS)), min_size=1, max_size=12))
@pytest.mark.parametrize("lines", [("Cu 324.754",), ("Cu 324.754", "Pb 220.353")])
def test_a_file_says_of_each_row_what_the_row_alone_says(
    lines: tuple[str, ...], rows: list[tuple[int, tuple[str, str, str]]]
) -> None:
    # given a table in which each position and line comes once
    single = {(number, lines[number % len(lines)]): cells for number, cells in rows}
    texts = [",".join([str(n), f"S{n}", line, *(f'"{c}"' for c in cells)]) for (n, line), cells in single.items()]
    head = "Position,Name,Line,Reading 1,Reading 2,Reading 3\n"
    # when it is read whole, and row by row
    whole = read((head + "\n".join(texts)).encode(), "x", LONG)
    alone = [read((head + "\n" * at + text).encode(), "x", LONG) for at, text in enumerate(texts)]
    # then nothing differs
    assert whole.readings == tuple(reading for found in alone for reading in found.readings)
    assert whole.problems == tuple(problem for found in alone for problem in found.problems)


ROWS = replace(WIDE, repeated_rows=True, ignored=("Time",))


@given(
    places=st.lists(st.tuples(st.integers(1, 4), st.sampled_from("AAAAB")), max_size=6),
    of_each=st.lists(st.integers(1, 4), max_size=6),
    cells=st.lists(st.tuples(CELLS, CELLS), min_size=24, max_size=24),
)
@example(places=[(1, "A"), (2, "A"), (3, "B")], of_each=[3, 3, 3], cells=[("1.25", "saturated"), ("-0.5", "x")] * 12)
def test_rows_that_are_joined_at_once_say_what_rows_say_that_are_joined_later(
    places: list[tuple[int, str]], of_each: list[int], cells: list[tuple[str, str]]
) -> None:
    # given a wide table with several rows of each place, and times, which no joining at once can keep
    rows = [place for place, count in zip(places, of_each, strict=False) for _ in range(count)]
    texts = [
        f'{n};{name};2026-11-16 09:{at:02d};"{a}";"{b}"'
        for at, ((n, name), (a, b)) in enumerate(zip(rows, cells, strict=False))
    ]
    content = "\n".join(["Position;Name;Time;Cu 324.754;Pb 220.353", *texts]).encode()
    # when it is read without its times and with them
    at_once, later = read(content, "x", ROWS), read(content, "x", replace(ROWS, ignored=(), time="Time"))
    # then nothing else differs
    assert at_once.readings == tuple(reading._replace(time="") for reading in later.readings)
    assert at_once.problems == later.problems


def test_a_large_file_is_read_as_its_first_row_is() -> None:
    rows = "\n".join(f"{n};S{n};{n}.25" for n in range(1, 2001))
    found = read(("Position;Name;Cu 324.754\n" + rows).encode(), "x", WIDE)
    assert (found.problems, found.rows) == ((), 2000)
    assert [r.mean for r in found.readings] == [n + 0.25 for n in range(1, 2001)]
