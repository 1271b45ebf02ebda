"""Tables that people paste, and weighings in them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.readers.pasted import PastedTable, paste


def cells(table: PastedTable) -> list[tuple[str, ...]]:
    return [row.cells for row in table.rows]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Name\tDepth\nA 1\t112.0 m\n", [("A 1", "112.0 m")]),
        ("Name\tDepth\r\n  A 1 \t112.0  m\r\n", [("  A 1 ", "112.0  m")]),
        ("Name;Depth\nA,1;2\n", [("A,1", "2")]),
        ("Name,Depth\nA;1,2\n", [("A;1", "2")]),
        ("Name\nA\nB\n", [("A",), ("B",)]),
        ('Name\tDepth\n"A" zone\t5" pipe\n', [('"A" zone', '5" pipe')]),
        ('Name\tDepth\n"A"\t1\n', [('"A"', "1")]),
        ('Name\tDepth\n"two\nlines"\t1\n', [("two\nlines", "1")]),
        ('Name\tDepth\n"the ""old"" one"\t1\n', [('the "old" one', "1")]),
        ('Name,Depth\n"A, left",1\n', [("A, left", "1")]),
        ('Name,Depth\n"A,1\n', [('"A', "1")]),
        ('Name,Depth\n"A" zone,1\n', [('"A" zone', "1")]),
        ('Name,Depth\n"",1\n', [("", "1")]),
        ('Name,Depth\nA,"1"', [("A", "1")]),
        ("Name\tDepth\nA\n", [("A", "")]),
        ("\n\nName\tDepth\n\nA\t1\n\n", [("A", "1")]),
        ("\ufeffName\tDepth\t\nA\t1\t\n", [("A", "1")]),
    ],
)
def test_cells_are_kept_to_the_letter(text: str, expected: list[tuple[str, ...]]) -> None:
    table = paste(text)
    assert (cells(table), table.problems) == (expected, ())


def test_rows_keep_their_numbers() -> None:
    table = paste("\nName\tDepth\n\nA\t1\n\nB\t2\n")
    assert [row.number for row in table.rows] == [4, 6]


def test_headings_are_found_whatever_their_case() -> None:
    table = paste("Your own name\tDepth\nA\t1\n")
    assert (table.column("depth"), table.column("mass")) == (1, None)


@pytest.mark.parametrize(
    ("text", "row", "says"),
    [
        ("", None, "nothing was pasted"),
        ("Name\tDepth\nA\t1\t2\n", 2, "3 cells, the headings are 2"),
        ("Name\tname\nA\t1\n", 1, "more than one column"),
    ],
)
def test_what_is_wrong_with_a_table(text: str, row: int | None, says: str) -> None:
    problems = paste(text).problems
    assert [problem.row for problem in problems] == [row]
    assert says in problems[0].what


LETTERS = st.text(st.characters(exclude_characters='\t\r\n"', exclude_categories=["Cs"]), min_size=1).filter(str.strip)


@given(rows=st.lists(st.tuples(LETTERS, LETTERS), min_size=1, max_size=10))
def test_any_cells_come_through_tabs_unchanged(rows: list[tuple[str, str]]) -> None:
    text = "Name\tNote\n" + "\n".join("\t".join(row) for row in rows)
    assert cells(paste(text)) == rows
