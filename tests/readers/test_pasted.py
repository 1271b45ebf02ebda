"""Tables that people paste, and weighings in them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.readers.pasted import PastedTable, paste
from labresults.readers.weighings import Amount, WeighingHeadings, read_weighings


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


# ------------------------------------------------------------ weighings


def test_weighings() -> None:
    # given a table of masses, volumes and dilutions, some in words
    text = "Label,mass g,volume mL,Dilution,moisture %\nKF26-00001,0.5012,50.00,1,\nKF26-00002,0.498,50,1 + 9,12.5\n"
    # when it is read
    found = read_weighings(text.encode())
    # then numbers are there with their texts, and a dilution in words is left to whoever computes it
    assert found.problems == ()
    one, two = found.weighings
    assert (one.label, one.mass_g, one.volume_mL) == ("KF26-00001", Amount("0.5012", 0.5012), Amount("50.00", 50.0))
    assert (one.moisture_percent, one.solvent_g, one.aliquot_mL) == (None, None, None)
    assert (two.dilution, two.moisture_percent) == (Amount("1 + 9", None), Amount("12.5", 12.5))


def test_weighings_with_other_headings_and_a_decimal_comma() -> None:
    text = "Probe;Einwaage\nA;0,5012\n"
    found = read_weighings(text.encode(), WeighingHeadings(label="Probe", mass_g="Einwaage"), decimal_sign=",")
    assert (found.problems, found.weighings[0].mass_g) == ((), Amount("0,5012", 0.5012))


@pytest.mark.parametrize(
    ("text", "row", "column", "says"),
    [
        ("label,mass g\nA,0\n", 2, "mass g", "above 0"),
        ("label,mass g\nA,-0.5\n", 2, "mass g", "not possible"),
        ("label,mass g\nA,half\n", 2, "mass g", "not a number"),
        ("label;mass g\nA;0,5\n", 2, "mass g", "0.5 or as 05"),
        ("label,dilution\nA,0.5\n", 2, "dilution", "at least 1"),
        ("label,dilution\nA,none\n", 2, "dilution", "not a number"),
        ("label,moisture %\nA,100\n", 2, "moisture %", "below 100"),
        ("label,mass g\n ,0.5\n", 2, "label", "blank"),
        ("label,mass g\nA,0.5\nA,0.6\n", 3, "label", "already"),
        ("label,weight\nA,0.5\n", 1, None, "no column with an amount"),
        ("name,mass g\nA,0.5\n", 1, "label", "no column with this heading"),
        ("", None, None, "nothing was pasted"),
    ],
)
def test_weighings_that_cannot_be(text: str, row: int | None, column: str | None, says: str) -> None:
    problems = read_weighings(text.encode()).problems
    assert [(problem.row, problem.column) for problem in problems] == [(row, column)]
    assert says in str(problems[0])


def test_weighings_in_another_encoding_are_asked_about() -> None:
    assert "utf-8" in str(read_weighings(b"label,mass g\n\xb5,1\n").problems[0])
    assert read_weighings(b"label,mass g\n\xb5,1\n", encoding="cp1252").weighings[0].label == "µ"
