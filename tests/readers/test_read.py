"""Files that are right: everything is understood, to the letter and in full precision."""

import csv
import io
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.readers.layout import Layout, Shape
from labresults.readers.read import read
from labresults.readers.reading import ReadFile, Reading
from tests.readers.files import LONG, LONG_TEXT, WIDE, WIDE_TEXT, workbook


def what(found: ReadFile) -> list[tuple[int | None, str, str, float | None]]:
    return [(reading.position, reading.label, reading.line, reading.mean) for reading in found.readings]


def test_long_text() -> None:
    # when a file with a row for each line is read
    found = read(LONG_TEXT.encode(), "readings.csv", LONG)
    # then replicates are kept to the letter, with what they say
    assert found.problems == ()
    assert (found.rows, found.lines, found.unit) == (4, ("Cu 324.754", "Pb 220.353"), "counts/s")
    assert (found.encoding, found.delimiter) == ("utf-8", ",")
    first, second, third, fourth = found.readings
    assert first == Reading(
        row=2,
        position=1,
        label="Blank",
        line="Cu 324.754",
        replicates=("12.1", "11.9", "12.0"),
        mean=pytest.approx(12.0),
        sd=pytest.approx(0.1),
        count=3,
        missing=False,
        saturated=False,
    )
    assert (second.count, second.mean, second.replicates[2]) == (2, pytest.approx(3.55), "none")
    assert (third.label, third.saturated, third.mean, third.missing) == ("Standard 1, new", True, None, False)
    assert (fourth.missing, fourth.mean, fourth.sd, fourth.count) == (True, None, None, 0)


def test_wide_text() -> None:
    found = read(WIDE_TEXT.encode(), "readings.csv", WIDE)
    assert found.problems == ()
    assert what(found) == [
        (1, "Blank", "Cu 324.754", 0.001),
        (1, "Blank", "Pb 220.353", -0.0004),
        (2, "Standard 1", "Cu 324.754", 1.0021),
        (2, "Standard 1", "Pb 220.353", 0.9987),
    ]
    assert {(reading.count, reading.sd, len(reading.replicates)) for reading in found.readings} == {(1, None, 1)}


def test_repeated_rows_are_replicates() -> None:
    text = "Position;Name;Cu 324.754\n1;A;1.0\n1;A;3.0\n2;B;5\n2;B;5\n"
    found = read(text.encode(), "x", replace(WIDE, repeated_rows=True))
    assert found.problems == ()
    assert [(r.replicates, r.mean, r.sd) for r in found.readings] == [
        (("1.0", "3.0"), 2.0, pytest.approx(2**0.5)),
        (("5", "5"), 5.0, 0.0),
    ]


def test_one_heading_over_all_replicates() -> None:
    text = "Position,Name,Line,Reading,Reading\n1,A,Cu 324.754,1,3\n"
    found = read(text.encode(), "x", replace(LONG, replicates=("Reading",)))
    assert (found.readings[0].replicates, found.readings[0].mean) == (("1", "3"), 2.0)


def test_mean_with_spread_and_count() -> None:
    layout = replace(LONG, replicates=(), mean="Mean", sd="SD", count="n")
    text = "Position,Name,Line,Mean,SD,n\n1,A,Cu 324.754,1.25,0.03,5\n2,B,Cu 324.754,saturated,,\n"
    one, two = read(text.encode(), "x", layout).readings
    assert (one.mean, one.sd, one.count, one.replicates) == (1.25, 0.03, 5, ())
    assert (two.mean, two.saturated, two.count) == (None, True, 0)


def test_mean_of_a_known_number_of_replicates() -> None:
    layout = replace(LONG, replicates=(), mean="Mean", sd="SD", count_of_mean=3)
    found = read(b"Position,Name,Line,Mean,SD\n1,A,Cu 324.754,1.25,0.03\n", "x", layout)
    assert (found.problems, found.readings[0].count, found.readings[0].sd) == ((), 3, 0.03)


@pytest.mark.parametrize(("taken", "replicates", "count"), [(1, ("1.25",), 1), (3, (), 3)])
@pytest.mark.parametrize(
    "text", ["Position,Name,Line,Mean\n1,A,Cu 324.754,1.25\n", "Position,Name,Cu 324.754\n1,A,1.25\n"]
)
def test_a_mean_alone(text: str, taken: int, replicates: tuple[str, ...], count: int) -> None:
    base = replace(LONG, replicates=(), mean="Mean") if "Line" in text else WIDE
    found = read(text.encode(), "x", replace(base, count_of_mean=taken)).readings[0]
    assert (found.mean, found.sd, found.replicates, found.count) == (1.25, None, replicates, count)


def test_element_and_wavelength_in_two_columns() -> None:
    layout = replace(LONG, line="", element="El", wavelength="nm", line_names=(("As 193.7", "As 193.696"),))
    text = 'Position,Name,El,nm,Reading 1\n1,A,Cu,324.754,1\n1,A,As,193.7,2\n2,B,As,"193,7",3\n'
    found = read(text.encode(), "x", layout)
    assert (found.problems, found.lines) == ((), ("Cu 324.754", "As 193.696"))


def test_headings_of_another_kind() -> None:
    layout = replace(WIDE, line_template="[{element}] {wavelength} nm", line_names=(("Copper", "Cu 324.754"),))
    found = read(b"Position;Name;Copper;[Pb] 220.353 nm\n1;A;1;2\n", "x", layout)
    assert (found.problems, found.lines) == ((), ("Cu 324.754", "Pb 220.353"))


def test_heading_below_other_rows_and_a_word_that_ends_the_table() -> None:
    layout = replace(WIDE, heading_row=3, end_word="End", ignored=("Time",))
    text = "Written by the instrument\n\nPosition;Name;Time;Cu 324.754\n\n1;A;09:30;1\nEnd of table\nanything, else\n"
    found = read(text.encode(), "x", layout)
    assert (found.problems, what(found)) == ((), [(1, "A", "Cu 324.754", 1.0)])
    assert found.readings[0].row == 5


@pytest.mark.parametrize(
    ("layout", "text"),
    [
        (WIDE, "Name;Cu 324.754;Pb 220.353\nCheck;1;2\nCheck;3;4\n"),
        (LONG, "Name,Line,Reading 1\nCheck,Cu 324.754,1\nCheck,Pb 220.353,2\nCheck,Cu 324.754,3\nCheck,Pb 220.353,4\n"),
    ],
    ids=["wide", "long"],
)
def test_positions_from_their_order(layout: Layout, text: str) -> None:
    found = read(text.encode(), "x", replace(layout, position="", position_from_order=True))
    assert found.problems == ()
    assert [(reading.position, reading.mean) for reading in found.readings] == [(1, 1.0), (1, 2.0), (2, 3.0), (2, 4.0)]


def test_labels_are_kept_to_the_letter() -> None:
    text = 'Position;Name;Cu 324.754\n1;  007 a ;1\n2;"5"" pipe; left";2\n'
    found = read(text.encode(), "x", WIDE)
    assert [reading.label for reading in found.readings] == ["  007 a ", '5" pipe; left']


@pytest.mark.parametrize(
    ("encoding", "says"),
    [("utf-8", "utf-8"), ("utf-8-sig", "utf-8-sig"), ("utf-16", "utf-16")],
)
def test_encodings_that_can_be_told(encoding: str, says: str) -> None:
    found = read(WIDE_TEXT.replace("Blank", "Größe µ").encode(encoding), "x", WIDE)
    assert (found.problems, found.encoding, found.readings[0].label) == ((), says, "Größe µ")


def test_an_encoding_that_the_layout_names() -> None:
    found = read("Position;Name;Cu 324.754\n1;µ;1\n".encode("cp1252"), "x", replace(WIDE, encoding="cp1252"))
    assert (found.problems, found.readings[0].label) == ((), "µ")


def test_decimal_comma_and_thousands() -> None:
    layout = replace(WIDE, decimal_sign=",", thousands_sign=".")
    found = read(b"Position;Name;Cu 324,754\n1;A;1.234,5\n2;B;-0,25\n", "x", layout)
    assert (found.problems, found.lines) == ((), ("Cu 324.754",))
    assert [reading.mean for reading in found.readings] == [1234.5, -0.25]


def test_workbook() -> None:
    # given numbers as a workbook holds them: whole, fractional, as text, and a label that is a number
    content = workbook(
        ("Notes", [["nothing"]]),
        ("Run", [["Position", "Name", "Cu 324.754"], [1.0, 4112, 1 / 3], [2, "B", "12.5"], [3, "C"]]),
    )
    # when the sheet that the layout names is read, whatever the file is called
    found = read(content, "readings.csv", replace(WIDE, sheet="Run"))
    # then nothing is lost on the way
    assert (found.problems, found.encoding) == ((), "xlsx")
    assert [(r.position, r.label, r.replicates, r.missing) for r in found.readings] == [
        (1, "4112", ("0.3333333333333333",), False),
        (2, "B", ("12.5",), False),
        (3, "C", ("",), True),
    ]


def test_a_number_of_a_workbook_needs_no_decimal_sign() -> None:
    content = workbook(("Run", [["Position", "Name", "Cu 324.754"], [1, "A", 12.5]]))
    assert read(content, "x", replace(WIDE, decimal_sign=",")).readings[0].mean == 12.5


# ------------------------------------------------------------ what holds for every table

NUMBERS = st.floats(min_value=-1e12, max_value=1e12)
LABELS = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), min_size=1).filter(str.strip)
LINES = ("Cu 324.754", "Pb 220.353", "Y 371.029")


@given(
    values=st.lists(st.tuples(LABELS, NUMBERS, NUMBERS, NUMBERS), min_size=1, max_size=8),
    delimiter=st.sampled_from([";", "\t", "|"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
    sign=st.sampled_from([".", ","]),
)
def test_what_was_written_is_what_is_read(
    values: list[tuple[str, float, float, float]], delimiter: str, encoding: str, sign: str
) -> None:
    # given any labels and numbers, written with any delimiter, encoding and decimal sign
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=delimiter)
    writer.writerow(["Position", "Name", *LINES])
    for number, (label, *numbers) in enumerate(values, start=1):
        writer.writerow([number, label, *(repr(value).replace(".", sign) for value in numbers)])
    # when the file is read
    found = read(out.getvalue().encode(encoding), "x", replace(WIDE, decimal_sign=sign))
    # then every number and every label is back
    assert found.problems == ()
    assert [reading.mean for reading in found.readings] == [v for _, *numbers in values for v in numbers]
    assert [reading.label for reading in found.readings[:: len(LINES)]] == [label for label, *_ in values]


@given(content=st.binary(max_size=300))
def test_no_bytes_make_it_fail(content: bytes) -> None:
    found = read(content, "x", WIDE)
    assert found.problems


@given(content=st.binary(max_size=200), layout=st.sampled_from([LONG, WIDE]))
def test_no_damage_makes_it_fail(content: bytes, layout: Layout) -> None:
    whole = LONG_TEXT if layout.shape is Shape.LONG else WIDE_TEXT
    read(whole.encode() + content, "x", layout)
    read(b"PK\x03\x04" + content, "x", layout)
