"""Tables as people and instruments write them: fixed width, blocks, lines above, units, several columns of a line."""

from dataclasses import replace

import pytest

from labresults.readers.layout import FIXED
from labresults.readers.read import read
from labresults.readers.reading import ReadFile
from tests.readers.files import LONG, WIDE


def said(found: ReadFile) -> list[tuple[int | None, str, str, tuple[str, ...]]]:
    return [(reading.position, reading.label, reading.line, reading.replicates) for reading in found.readings]


# ------------------------------------------------------------ text of every make

PLAIN = "Position;Name;Cu 324.754\n1;Größe;1.5\n2;B;2.5\n"


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"], ids=["LF", "CRLF", "CR"])
@pytest.mark.parametrize(
    ("written", "layout"),
    [
        ("utf-8", "sniff"),
        ("utf-8-sig", "sniff"),
        ("utf-16", "sniff"),
        ("utf-16-le", "utf-16-le"),
        ("utf-16-be", "utf-16-be"),
        ("cp1252", "cp1252"),
    ],
)
def test_every_encoding_and_line_end(written: str, layout: str, ends: str) -> None:
    content = PLAIN.replace("\n", ends).encode(written)
    found = read(content, "x", replace(WIDE, encoding=layout))
    assert found.problems == ()
    assert said(found) == [(1, "Größe", "Cu 324.754", ("1.5",)), (2, "B", "Cu 324.754", ("2.5",))]


def test_a_line_end_inside_quotation_marks_is_part_of_the_label() -> None:
    found = read(b'Position;Name;Cu 324.754\n1;"A\nsecond line";1\n2;B;2\n', "x", WIDE)
    assert (found.problems, [r.label for r in found.readings]) == ((), ["A\nsecond line", "B"])
    assert [r.row for r in found.readings] == [2, 3]


@pytest.mark.parametrize("sign", ["\t", ";", ",", "|"])
def test_every_delimiter_is_found_by_the_headings(sign: str) -> None:
    found = read(PLAIN.replace(";", sign).encode(), "x", WIDE)
    assert (found.problems, found.delimiter, len(found.readings)) == ((), sign, 2)


@pytest.mark.parametrize(
    ("sign", "decimal", "text", "value"),
    [
        (",", ".", '"1,234,567.5"', 1234567.5),
        (".", ",", "1.234,5", 1234.5),
        (" ", ",", "1 234,5", 1234.5),
        ("'", ".", "1'234.5", 1234.5),
        ("\u202f", ",", "1\u202f234,5", 1234.5),
    ],
)
def test_thousands_signs(sign: str, decimal: str, text: str, value: float) -> None:
    layout = replace(WIDE, thousands_sign=sign, decimal_sign=decimal)
    found = read(f"Position;Name;Cu 324.754\n1;A;{text}\n".encode(), "x", layout)
    assert (found.problems, found.readings[0].mean) == ((), value)


def test_words_are_looked_for_before_numbers() -> None:
    layout = replace(WIDE, missing=("", "-1"), over_range=("99999", "HIGH"))
    found = read(b"Position;Name;Cu 324.754\n1;A;-1\n2;B;99999\n3;C;high\n4;D;7\n", "x", layout)
    assert [(r.missing, r.saturated, r.mean) for r in found.readings] == [
        (True, False, None),
        (False, True, None),
        (False, True, None),
        (False, False, 7.0),
    ]


# ------------------------------------------------------------ columns of fixed width

FIXED_TEXT = """Written on a quiet evening
Position  Solution     Cu 324.754  Pb 220.353
1         Blank A           0.013       0.002
12        KF26-00001     1204.5        31.7
"""
COLUMNS = replace(
    WIDE, label="Solution", delimiter=FIXED, heading_row=2, column_starts=(1, 11, 22, 36), repeated_rows=False
)


def test_columns_of_fixed_width() -> None:
    found = read(FIXED_TEXT.encode(), "x", COLUMNS)
    assert found.problems == ()
    assert said(found) == [
        (1, "Blank A", "Cu 324.754", ("0.013",)),
        (1, "Blank A", "Pb 220.353", ("0.002",)),
        (12, "KF26-00001", "Cu 324.754", ("1204.5",)),
        (12, "KF26-00001", "Pb 220.353", ("31.7",)),
    ]


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("12        KF26-0000123     1204.5        31.7", "“KF26-0000123” runs over the border"),
        ("12\tKF26-00001     1204.5        31.7", "has a tab"),
    ],
)
def test_a_line_that_cannot_be_cut_is_a_problem(line: str, says: str) -> None:
    found = read(FIXED_TEXT.replace("12        KF26-00001     1204.5        31.7", line).encode(), "x", COLUMNS)
    assert [p.row for p in found.problems if says in p.what] == [4]


# ------------------------------------------------------------ several columns of a line

WIDE_REPLICATES = replace(WIDE, line_template="{element} {wavelength} #{n}", mean="{element} {wavelength} mean")


def test_replicates_of_a_line_in_columns_of_their_own() -> None:
    text = "Position;Name;Cu 324.754 #2;Cu 324.754 #1;Pb 220.353 #1;Cu 324.754 mean\n1;A;3.0;1.0;7;2.0\n"
    found = read(text.encode(), "x", WIDE_REPLICATES)
    assert found.problems == ()
    assert said(found) == [(1, "A", "Cu 324.754", ("1.0", "3.0")), (1, "A", "Pb 220.353", ("7",))]
    assert [r.mean for r in found.readings] == [2.0, 7.0]


def test_one_heading_over_all_replicates_of_a_line() -> None:
    text = b"Position;Name;Cu 324.754;Cu 324.754\n1;A;1;3\n"
    found = read(text, "x", replace(WIDE, repeated_columns=True))
    assert (found.problems, said(found)) == ((), [(1, "A", "Cu 324.754", ("1", "3"))])


@pytest.mark.parametrize(
    ("mean", "is_wrong"),
    [("2.0", False), ("2.03", False), ("2.1", False), ("2.3", True), ("", False), ("20", True)],
    ids=["exact", "rounded replicates", "in the last digit", "beyond it", "not said", "ten times"],
)
def test_a_mean_of_the_file_is_held_against_its_replicates(mean: str, is_wrong: bool) -> None:
    text = f"Position;Name;Cu 324.754 #1;Cu 324.754 #2;Cu 324.754 mean\n1;A;1.1;2.9;{mean}\n"
    problems = read(text.encode(), "x", WIDE_REPLICATES).problems
    assert [(p.row, p.found) for p in problems] == ([(2, f"{float(mean):.6g}")] if is_wrong else [])
    assert all("its replicates have 2" in p.what for p in problems)


@pytest.mark.parametrize(
    ("sd", "count", "says"), [("1", "2", ""), ("0.7", "2", "standard deviation"), ("1", "3", "counts 3")]
)
def test_a_spread_and_a_count_of_the_file_are_held_against_them_too(sd: str, count: str, says: str) -> None:
    layout = replace(LONG, mean="Mean", sd="SD", count="n")
    text = f"Position,Name,Line,Reading 1,Reading 2,Mean,SD,n\n1,A,Cu 324.754,1.000,2.414,1.707,{sd},{count}\n"
    problems = read(text.encode(), "x", layout).problems
    assert [says in p.what for p in problems] == ([True] if says else [])


def test_several_lines_of_one_element_stay_apart() -> None:
    found = read(b"Position;Name;Cu 324.754;Cu 327.396;Cu 224.700\n1;A;1;2;3\n", "x", WIDE)
    assert [(r.line, r.mean) for r in found.readings] == [("Cu 324.754", 1), ("Cu 327.396", 2), ("Cu 224.700", 3)]


# ------------------------------------------------------------ units, and the instrument's own concentrations

BOTH = replace(
    WIDE, unit="counts/s", units_row=True, concentration="{element} {wavelength} conc", concentration_unit="mg/L"
)


def test_signals_and_concentrations_with_a_row_of_units() -> None:
    text = "Position;Name;Cu 324.754;Cu 324.754 conc;Pb 220.353\n;;counts/s;µg/L;counts/s\n1;A;1204.5;12.5;31\n"
    found = read(text.encode(), "x", BOTH)
    assert found.problems == ()
    copper, lead = found.readings
    assert (copper.mean, copper.instrument_concentration, copper.instrument_unit) == (1204.5, 0.0125, "mg/L")
    assert (lead.mean, lead.instrument_concentration, lead.instrument_unit) == (31.0, None, "")


CONCENTRATIONS = replace(WIDE, unit="mg/L", units_row=True, unit_names=(("ppm", "mg/L"),))


@pytest.mark.parametrize(
    ("unit", "text", "mean"),
    [
        ("mg/L", "0.1", 0.1),
        ("ug/L", "123.4", 0.1234),
        ("[µg/L]", "0.3", 0.0003),
        ("g/L", "0.1", 100.0),
        ("ppm", "2", 2),
    ],
)
def test_concentrations_are_converted_exactly_column_by_column(unit: str, text: str, mean: float) -> None:
    content = f"Position;Name;Cu 324.754;Pb 220.353\n;;{unit};mg/L\n1;A;{text};5\n".encode()
    found = read(content, "x", CONCENTRATIONS)
    assert (found.problems, [r.mean for r in found.readings]) == ((), [mean, 5.0])
    assert found.readings[0].replicates == (text,)  # as received
    assert [r.text_unit for r in found.readings] == ["" if mean == float(text) else unit, ""]


@pytest.mark.parametrize("unit", ["ppb", "mg/kg", "counts/s"])
def test_a_unit_that_does_not_lead_to_that_of_the_layout_is_asked(unit: str) -> None:
    problem = read(f"Position;Name;Cu 324.754\n;;{unit}\n1;A;2\n".encode(), "x", CONCENTRATIONS).problems[0]
    assert (problem.row, problem.column, problem.found, problem.expected) == (2, "Cu 324.754", unit, "mg/L")


def test_a_unit_in_the_heading() -> None:
    layout = replace(WIDE, line_template="{element} {wavelength} ({unit})", unit="mg/L")
    found = read("Position;Name;Cu 324.754 (µg/L)\n1;A;1500\n".encode(), "x", layout)
    assert (found.problems, found.lines, found.readings[0].mean) == ((), ("Cu 324.754",), 1.5)


def test_a_unit_in_the_heading_of_a_long_table() -> None:
    layout = replace(LONG, concentration="Conc. ({unit})", concentration_unit="mg/L")
    text = "Position,Name,Line,Reading 1,Conc. (ug/L)\n1,A,Cu 324.754,1200,250\n"
    reading = read(text.encode(), "x", layout).readings[0]
    assert (reading.mean, reading.instrument_concentration, reading.instrument_unit) == (1200.0, 0.25, "mg/L")


def test_a_column_of_units() -> None:
    layout = replace(LONG, unit="mg/L", unit_column="Unit")
    text = "Position,Name,Line,Reading 1,Unit\n1,A,Cu 324.754,1,mg/L\n1,A,Pb 220.353,1,ug/L\n2,A,Pb 220.353,1,ppm\n"
    found = read(text.encode(), "x", layout)
    assert [(r.mean, r.text_unit) for r in found.readings[:2]] == [(1.0, ""), (0.001, "ug/L")]
    assert [(p.row, p.column, p.found) for p in found.problems] == [(4, "Unit", "ppm")]


def test_a_concentration_without_a_unit_is_asked() -> None:
    layout = replace(LONG, concentration="Conc")
    problems = read(b"Position,Name,Line,Reading 1,Conc\n1,A,Cu 324.754,1,2\n", "x", layout).problems
    assert [(p.row, p.column) for p in problems] == [(1, "Conc")]
