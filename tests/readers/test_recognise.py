"""A person's own file, recognised: what is offered, with the evidence, and the layout that the answers make."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.readers.layout import FIXED, Applied, Blocks, Layout, Shape
from labresults.readers.layout_form import SETTINGS, answers_of, layout_from
from labresults.readers.read import read
from labresults.readers.reading import ReadFile
from labresults.readers.recognise import recognise
from labresults.readers.recognised import Meaning, Recognised
from tests.readers.files import LONG, LONG_TEXT, WIDE, WIDE_TEXT, workbook

NAMED = {"name": "new", "unit": "counts/s"}


def made(recognised: Recognised, **answers: str) -> Layout:
    layout = layout_from(recognised.answers() | NAMED | answers, recognised)
    assert isinstance(layout, Layout), layout
    return layout


def read_as_offered(content: bytes, **answers: str) -> ReadFile:
    """What the layout of the first offers makes of the file that they came from."""
    found = read(content, "x", made(recognise(content, "x"), **answers))
    assert found.problems == ()
    return found


def offered(recognised: Recognised) -> list[Meaning]:
    return [column.offers[0] for column in recognised.columns]


# ------------------------------------------------------------ files whose first offers are right

WITH_ALL = (
    "Evening run\nInstrument: the blue one\n\n"
    "Pos\tSolution\tCu 324,754 #1\tCu 324,754 #2\tCu 324,754 mean\tRemark\n\t\tcounts/s\tcounts/s\tcounts/s\t\n"
    "1\tµ blank\t1,5\t1,7\t1,6\tnone\n2\tKF26-00001\t1.204,25\tover\t-\tlate\n"
)
FIXED_TEXT = (
    "Sample    Element  nm       Rep 1    Rep 2\n"
    "Blank A   Cu       324.754    12.1    11.9\n"
    "Blank A   Pb       220.353     3.1     2.9\n"
)
BLOCKS = "".join(
    f"Position: {n}\nName: S{n}\nElement;nm;R1;R2\nCu;324.754;1.25;2.5\nPb;220.353;5.5;6.75\n\n" for n in (1, 2, 3)
)


@pytest.mark.parametrize(
    ("content", "readings", "lines"),
    [
        (LONG_TEXT.encode(), 4, ("Cu 324.754", "Pb 220.353")),
        (WIDE_TEXT.encode(), 4, ("Cu 324.754", "Pb 220.353")),
        (WIDE_TEXT.encode("utf-16-le"), 4, ("Cu 324.754", "Pb 220.353")),
        (WIDE_TEXT.replace("\n", "\r").encode("utf-16"), 4, ("Cu 324.754", "Pb 220.353")),
        (WITH_ALL.encode("cp1252"), 2, ("Cu 324.754",)),
        (FIXED_TEXT.encode(), 2, ("Cu 324.754", "Pb 220.353")),
        (BLOCKS.encode(), 6, ("Cu 324.754", "Pb 220.353")),
        (workbook(("Run", [["Day"], ["No", "Label", "Cu 324.754"], [1, "A", 1.5], [2, "B", 2]])), 2, ("Cu 324.754",)),
        (b"Name|Cu 324.754|Cu 324.754 sd|Cu 324.754 n\nA|1.5|0.1|3\n", 1, ("Cu 324.754",)),
    ],
    ids=["long", "wide", "UTF-16 bare", "UTF-16 with CR", "cp1252", "fixed width", "blocks", "workbook", "strokes"],
)
def test_the_first_offers_read_the_file(content: bytes, readings: int, lines: tuple[str, ...]) -> None:
    found = read_as_offered(content)
    assert (len(found.readings), found.lines) == (readings, lines)


def test_everything_that_is_offered_comes_with_its_evidence() -> None:
    found = recognise(WITH_ALL.encode("cp1252"), "x")
    assert (found.problems, found.doubts) == ((), ())
    seen = {key: (one.value, one.sure) for key, one in found.settings.items()}
    assert (seen["encoding"], seen["delimiter"]) == (("cp1252", False), ("tab", True))
    assert (seen["heading_row"][0], seen["units_row"][0]) == ("4", "yes")
    assert (seen["decimal_sign"], seen["thousands_sign"][0]) == (("comma", True), "point")
    assert (seen["missing"], seen["over_range"]) == (("-", False), ("over", False))
    assert seen["unit"] == ("counts/s", True)
    assert "in cp1252 it is “µ”" in found.settings["encoding"].evidence
    assert "the comma can only be the decimal sign" in found.settings["decimal_sign"].evidence
    assert [column.line for column in found.columns] == ["", "", *["Cu 324.754"] * 3, ""]
    assert offered(found) == [
        Meaning.POSITION, Meaning.LABEL, Meaning.LINE_READING, Meaning.LINE_READING, Meaning.LINE_MEAN, Meaning.IGNORED,
    ]  # fmt: skip
    assert [(line.word, line.value) for line in found.above] == [("Instrument", "the blue one")]
    assert found.columns[2].values == ("1,5", "1.204,25")


def test_a_word_that_stands_late_is_seen_too() -> None:
    rows = "".join(f"{n};S{n};{n}.5\n" for n in range(1, 3000)) + "3000;S3000;saturated\n"
    found = recognise(f"Position;Name;Cu 324.754\n{rows}".encode(), "x")
    assert found.settings["over_range"].value == "saturated"


def test_every_meaning_can_be_chosen_for_every_column() -> None:
    for content in (LONG_TEXT, WIDE_TEXT):
        for column in recognise(content.encode(), "x").columns:
            assert set(column.offers) == set(Meaning)


@pytest.mark.parametrize(
    ("headings", "first_row", "meanings"),
    [
        ("No;Name;Element;nm;Mean;SD;n", "1;A;Cu;324.754;5.1;0.1;3", "position label element wavelength mean sd count"),
        ("a;b;c;d;e", "1;S-1;Cu 324.754;2026-11-16 21:00;5.5", "position label line time replicate"),
        ("Sample;Line;Intensity;Conc.;Unit", "S;Cu 324.754;5;0.1;mg/L", "label line replicate concentration unit"),
        ("Position;Analyte;Reading 1;Reading 2", "1;Cu 324.754;5.5;5.6", "position line replicate replicate"),
    ],
)
def test_columns_are_known_by_their_headings_and_else_by_their_values(
    headings: str, first_row: str, meanings: str
) -> None:
    found = recognise(f"{headings}\n{first_row}\n".encode(), "x")
    names = {"sd": Meaning.SD, "count": Meaning.COUNT, "concentration": Meaning.CONCENTRATION}
    assert offered(found) == [names.get(word) or Meaning(word) for word in meanings.split()]


def test_two_columns_are_not_offered_as_one_thing() -> None:
    found = recognise(b"Sample;Name;Line;Reading 1\nA;B;Cu 324.754;5\n", "x")
    assert offered(found)[:2] == [Meaning.LABEL, Meaning.IGNORED]


# ------------------------------------------------------------ what nothing tells is a doubt


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("1;A;1,234\n2;B;5,678\n", "“1,234” can be 1.234 or 1234"),
        ("1;A;1.234\n2;B;5.678\n", "“1.234” can be 1.234 or 1234"),
        ("1;A;1.5\n2;B;1,5\n", "“1.5” has a decimal point and “1,5” a decimal comma"),
    ],
)
def test_a_decimal_sign_that_nothing_tells_is_a_doubt(text: str, says: str) -> None:
    found = recognise(f"Position;Name;Cu 324.754\n{text}".encode(), "x")
    assert [says in doubt for doubt in found.doubts] == [True]
    assert not found.settings["decimal_sign"].sure
    assert recognise(f"Position;Name;Cu 324.754\n{text}".encode(), "x", {"decimal_sign": "comma"}).doubts == ()


def test_a_column_that_could_be_a_thousand_times_as_much_is_a_doubt() -> None:
    found = recognise(b"Position;Name;Cu 324.754;Pb 220.353\n1;A;1.234;0.5\n2;B;5.678;7.25\n", "x")
    assert (found.doubts, found.settings["decimal_sign"].value) == ((), "point")
    assert [bool(column.doubt) for column in found.columns] == [False, False, True, False]
    assert "“1.234” is 1.234 or 1234, a thousand times as much" in found.columns[2].doubt


@pytest.mark.parametrize("text", ["1.5", "12.25", "0.123", "1e-3", "1,234.5", "0.0001"])
def test_a_point_that_can_only_be_the_decimal_sign(text: str) -> None:
    found = recognise(f"Position;Name;Cu 324.754\n1;A;{text}\n".encode(), "x")
    assert (found.settings["decimal_sign"].value, found.doubts) == ("point", ())


# ------------------------------------------------------------ what a person has said stands


def test_what_was_said_is_taken_and_the_rest_is_looked_for_with_it() -> None:
    text = "a;b\nPosition;Name;Cu 324.754\n1;A;1.5\n"
    assert recognise(text.encode(), "x").settings["heading_row"].value == "2"
    said = recognise(text.encode(), "x", {"heading_row": "1", "delimiter": "semicolon", "units_row": ""})
    assert [column.heading for column in said.columns] == ["a", "b"]
    assert [row for row, _ in said.headings] == [1, 2]


def test_another_sheet_can_be_said() -> None:
    content = workbook(("Notes", [["nothing"]]), ("Run", [["Position", "Name", "Cu 324.754"], [1, "A", 1.5]]))
    assert recognise(content, "x").sheets == ("Notes", "Run")
    found = recognise(content, "x", {"sheet": "Run"})
    assert offered(found) == [Meaning.POSITION, Meaning.LABEL, Meaning.LINE_READING]
    assert read(content, "x", made(found)).problems == ()


@pytest.mark.parametrize("content", [b"", b"\xd0\xcf\x11\xe0", b"PK\x03\x04 cut", b"\xff\xfe"])
def test_what_cannot_be_read_is_said(content: bytes) -> None:
    found = recognise(content, "run.csv")
    assert (found.columns, bool(found.problems)) == ((), True)


# ------------------------------------------------------------ answers make a layout, or problems


@pytest.mark.parametrize(
    ("answers", "column", "says"),
    [
        ({"column 0": ""}, "Position", "nobody has said"),
        ({"column 0": "label"}, "Name", "“Position” is the label already"),
        ({"name": ""}, None, "it needs a name"),
        ({"column 2": "position", "column 0": "ignored", "column 3": "ignored"}, None, "name the heading of the line"),
        ({"heading_row": "first"}, None, "“first” is not a whole number"),
        ({"blocks": "many"}, None, "“many” is not an answer for blocks"),
        ({"applied": "magic"}, None, "“magic” is not an answer for applied"),
        ({"unit_names": "ppm mg/L"}, None, "not of the form word = meaning"),
        ({"delimiter": "fixed width", "column_starts": "1 x"}, None, "“x” is not the place"),
        ({"column 1": "readings of a line"}, "Name", "the heading names no line"),
    ],
)
def test_answers_that_make_no_layout(answers: dict[str, str], column: str | None, says: str) -> None:
    recognised = recognise(WIDE_TEXT.encode(), "run.csv")
    problems = layout_from(recognised.answers() | NAMED | answers, recognised)
    assert isinstance(problems, tuple)
    assert [(p.column, says in p.what) for p in problems if says in p.what] == [(column, True)]


def test_a_column_without_a_heading_cannot_be_named() -> None:
    recognised = recognise(b"Position;;Cu 324.754\n1;A;1.5\n", "x")
    problems = layout_from(recognised.answers() | NAMED, recognised)
    assert isinstance(problems, tuple)
    assert [(p.column, p.what) for p in problems] == [("B", "the column has no heading.")]


def test_lines_by_other_names_and_units_by_other_words() -> None:
    text = b"Position;Name;Copper;Pb 220.353\n;;ppm;ppm\n1;A;1.5;2\n"
    found = read_as_offered(
        text,
        unit="mg/L",
        applied="calibration\ndilution",
        line_names="Copper = Cu 324.754",
        unit_names="ppm = mg/L",
        **{"column 2": "readings of a line"},
    )
    assert (found.lines, found.unit) == (("Cu 324.754", "Pb 220.353"), "mg/L")


FULL = replace(
    WIDE,
    delimiter="\t",
    decimal_sign=",",
    thousands_sign=".",
    missing=("", "-"),
    over_range=("over",),
    applied=frozenset({Applied.BLANK}),
    unit_names=(("ppm", "mg/L"),),
    heading_row=4,
    units_row=True,
)


@pytest.mark.parametrize("layout", [FULL, LONG, replace(WIDE, delimiter=FIXED, column_starts=(1, 11))])
def test_the_settings_of_a_layout_as_answers_make_it_again(layout: Layout) -> None:
    recognised = recognise((LONG_TEXT if layout.shape is Shape.LONG else WIDE_TEXT).encode(), "x")
    answers = recognised.answers() | answers_of(layout)
    assert set(answers_of(layout)) == {setting.key for setting in SETTINGS}
    again = layout_from(answers, recognised, layout.version)
    assert isinstance(again, Layout)
    changed = {"replicates": layout.replicates} if layout.shape is Shape.LONG else {}
    assert replace(again, **changed) == layout


@given(
    answers=st.dictionaries(
        st.sampled_from([setting.key for setting in SETTINGS] + [f"column {n}" for n in range(4)]),
        st.sampled_from(["", "yes", "no", "1", "-1", "9" * 9, "x = y", "=", "comma", "fixed width", *Meaning, *Blocks]),
    )
)
def test_no_answers_make_it_fail(answers: dict[str, str]) -> None:
    recognised = recognise(WIDE_TEXT.encode(), "x", answers)
    made = layout_from(recognised.answers() | NAMED | answers, recognised)
    if isinstance(made, Layout):
        read(WIDE_TEXT.encode(), "x", made)
    else:
        assert all(problem.what and problem.what_to_do for problem in made)
