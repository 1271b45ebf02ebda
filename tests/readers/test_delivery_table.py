"""A client's own list: its columns are recognised by name, confirmed, converted exactly, and never guessed."""

from datetime import datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labresults.readers.delivery import LABELS
from labresults.readers.delivery_headings import Meant, meaning
from labresults.readers.delivery_table import (
    LEFT_OUT,
    Choice,
    SourceTable,
    check_choices,
    columns_of,
    day_first_of,
    decimal_sign_of,
    find_heading_row,
    place,
    read_table,
)
from tests.readers.files import workbook


@pytest.mark.parametrize(
    ("heading", "meant"),
    [
        ("Sample", ("client_identification",)),
        ("SAMPLE_ID", ("client_identification",)),
        ("Échantillon", ("client_identification",)),
        ("Client's own identification", ("client_identification",)),
        ("Sample type", ("matrix",)),
        ("Matrice", ("matrix",)),
        ("Mass (kg)", ("delivered_g", "kg")),
        ("mass, g", ("delivered_g", "g")),
        ("sample_weight_mg", ("delivered_g", "mg")),
        ("Gewicht [kg]", ("delivered_g", "kg")),
        ("Mass / g", ("delivered_g", "g")),
        ("Weight", ("delivered_g", "")),
        ("kg", ("delivered_g", "kg")),
        ("Volume/mL", ("delivered_mL", "mL")),
        ("Vol. (litres)", ("delivered_mL", "L")),
        ("Amount, mL", ("delivered_mL", "mL")),
        ("Density g/cm³", ("density", "g/cm³")),
        ("Dichte (kg/m3)", ("density", "kg/m³")),
        ("Date sampled", ("sampled",)),
        ("Remarks:", ("note",)),
        ("Analyses requested", ("methods",)),
        ("Filtered?", ("field_filtered",)),
        ("Preservative", ("preservation",)),
        ("Mass (mL)", ("",)),
        ("Date", ("",)),
        ("Depth (m)", ("",)),
        ("Laboratory number", ("",)),
        ("", ("",)),
    ],
)
def test_what_a_heading_is_taken_for(heading: str, meant: tuple[str, ...]) -> None:
    assert meaning(heading) == Meant(*meant)


def test_our_own_names_of_the_columns_are_recognised() -> None:
    assert {column: meaning(label).column for column, label in LABELS.items()} == {column: column for column in LABELS}


LIST = """Kestrel delivery of the week\t
\t
Type\tNo\tSample ID\tMass (kg)\tDate sampled\tRemarks
soil\t1\t NRD 1 \t1,5\t03/11/2026\t bag torn
\t\t\t\t\t
rock\t2\tNRD 2\t0,0301\t16/11/2026\t"two
lines"
"""


def confirmed(table: SourceTable, heading_row: int, **changes: Choice) -> dict[int, Choice]:
    """What the headings say, and what is changed of it by the name of the column."""
    return {
        column.place: changes.get(column.name, Choice(column.meant.column, column.meant.unit))
        for column in columns_of(table, heading_row)
    }


def test_columns_stand_in_any_order_under_a_title_and_come_out_as_a_delivery_has_them() -> None:
    table = read_table(LIST.encode(), "the pasted rows")
    heading_row = find_heading_row(table)
    assert heading_row == 3
    columns = columns_of(table, heading_row)
    assert [(column.name, column.meant.column) for column in columns] == [
        ("Type", "matrix"), ("No", ""), ("Sample ID", "client_identification"), ("Mass (kg)", "delivered_g"),
        ("Date sampled", "sampled"), ("Remarks", "note"),
    ]  # fmt: skip
    assert columns[2].values == (" NRD 1 ", "NRD 2")
    choices = confirmed(table, heading_row, No=Choice(LEFT_OUT))
    assert check_choices(columns, choices) == ()
    rows, spoilt = place(table, heading_row, choices, decimal_sign=",", day_first=True)
    assert spoilt == ()
    assert [{name: text for name, text in row.items() if text} for row in rows] == [
        {"client_identification": " NRD 1 ", "matrix": "soil", "delivered_g": "1500", "sampled": "2026-11-03",
         "note": " bag torn"},
        {"client_identification": "NRD 2", "matrix": "rock", "delivered_g": "30.1", "sampled": "2026-11-16",
         "note": "two\nlines"},
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("headings", "choices", "words"),
    [
        ("Sample\tDepth", {}, "Depth: nobody has said what this column is."),
        ("Sample\tSample ID", {}, "Sample ID: “Sample” is taken for client's own identification too."),
        ("Sample\tSample", {}, "Sample (B): “Sample (A)” is taken for client's own identification too."),
        ("Sample\tWeight", {}, "Weight: its unit is not said."),
        ("Type\tMass (g)", {}, "no column is taken for the client's own identification."),
        ("Sample\tType", {"Sample": Choice(LEFT_OUT)}, "no column is taken for the client's own identification."),
        ("Sample\tMass (g)", {"Mass (g)": Choice("delivered_g", "mL")}, "Mass (g): its unit is not said."),
        ("Sample\tType", {"Type": Choice("colour")}, "Type: nobody has said what this column is."),
    ],
)
def test_what_is_not_decided_or_decided_twice_is_asked(headings: str, choices: dict[str, Choice], words: str) -> None:
    table = read_table(f"{headings}\nx\t1\n".encode(), "the pasted rows")
    found = check_choices(columns_of(table, 1), confirmed(table, 1, **choices))
    assert len(found) == 1
    assert words in str(found[0])


def test_a_list_without_headings_asks_for_every_column() -> None:
    table = read_table(b"NRD 1\tsoil\t30\nNRD 2\tsoil\n", "the pasted rows")
    assert find_heading_row(table) == 0
    columns = columns_of(table, 0)
    assert [(column.name, column.meant.column, column.values) for column in columns] == [
        ("column A", "", ("NRD 1", "NRD 2")), ("column B", "", ("soil", "soil")), ("column C", "", ("30",)),
    ]  # fmt: skip
    assert len(check_choices(columns, {})) == 4  # three columns, and no identification


@pytest.mark.parametrize(
    ("numbers", "sign"),
    [
        (["1.5", "30"], "."),
        (["1,5", "30"], ","),
        (["0,125"], ","),
        (["1,234"], ""),
        (["1,234", "2,5"], ","),
        (["1,234", "1,234.5"], "."),
        (["1.234,5"], ","),
        (["1,234,567"], "."),
        (["1.234.567"], ","),
        (["1,5", "1,234.5"], ""),
        (["30", "a few"], "."),
    ],
)
def test_the_decimal_sign_is_found_or_asked(numbers: list[str], sign: str) -> None:
    table = read_table(("Sample\tg\n" + "".join(f"a{n}\t{text}\n" for n, text in enumerate(numbers))).encode(), "x")
    assert decimal_sign_of(table, 1, [1]) == sign


@pytest.mark.parametrize(
    ("text", "heading", "sign", "grams"),
    [
        ("1.5", "kg", ".", "1500"),
        ("0.1", "mg", ".", "0.0001"),
        ("1,234.5", "g", ".", "1234.5"),
        ("1.234,5", "g", ",", "1234.5"),
        ("30.0", "g", ".", "30.0"),
        ("\N{MINUS SIGN}2", "kg", ".", "-2000"),
        ("2 kg", "kg", ".", "2 kg"),
        ("1,5", "g", ".", "1,5"),
        ("a lot", "t", ".", "a lot"),
    ],
)
def test_quantities_are_converted_exactly_and_what_is_none_stays(
    text: str, heading: str, sign: str, grams: str
) -> None:
    table = read_table(f"Sample\tMass ({heading})\na\t{text}\n".encode(), "x")
    rows, _ = place(table, 1, confirmed(table, 1), decimal_sign=sign)
    assert rows[0]["delivered_g"] == grams


@given(st.decimals(min_value="0.000001", max_value="1000", places=6))
def test_a_conversion_loses_no_digit(kilograms: Decimal) -> None:
    table = read_table(f"Sample\tkg\na\t{kilograms:f}\n".encode(), "x")
    rows, _ = place(table, 1, confirmed(table, 1))
    assert Decimal(rows[0]["delivered_g"]) == kilograms * 1000


@pytest.mark.parametrize(
    ("text", "separator", "first"),
    [
        ("Sample\tg\na, b\t1", "tabs", "a, b"),
        ("Sample;g\na, b;1,5", "semicolons", "a, b"),
        ('Sample,g\n"a, b",1.5', "commas", "a, b"),
        ("NRD 1, top\nNRD 2", "nothing", "NRD 1, top"),
        ("Sample,Type,Note\na,soil\nb,soil,torn", "commas", "a"),
    ],
)
def test_what_parts_the_cells(text: str, separator: str, first: str) -> None:
    table = read_table(text.encode(), "x")
    assert table.separator == separator
    assert columns_of(table, find_heading_row(table))[0].values[0] == first


def test_a_workbook_keeps_its_numbers_days_and_sheets() -> None:
    content = workbook(
        ("Notes", [["nothing here"]]),
        ("List", [["Sample", "kg", "Sampled"], [1001, 0.25, datetime(2026, 11, 3)],
                  ["NRD 2", 1.5, datetime(2026, 11, 3, 9, 30)]]),
    )  # fmt: skip
    assert read_table(content, "list.xlsx").sheets == ("Notes", "List")
    table = read_table(content, "list.xlsx", sheet="List")
    rows, spoilt = place(table, 1, confirmed(table, 1), decimal_sign=",")
    assert spoilt == ()
    assert [(row["client_identification"], row["delivered_g"], row["sampled"]) for row in rows] == [
        ("1001", "250", "2026-11-03"), ("NRD 2", "1500", "2026-11-03 09:30"),
    ]  # fmt: skip


def test_what_a_spreadsheet_has_spoilt_is_said_at_its_cell() -> None:
    content = workbook(("List", [["Sample", "g"], [datetime(2026, 2, 1), 30], ["NRD 2", "#REF!"]]))
    table = read_table(content, "list.xlsx")
    _, spoilt = place(table, 1, confirmed(table, 1))
    assert (spoilt[0].row, spoilt[0].column) == (2, "A")
    assert "made a date of this identification" in spoilt[0].what


def test_a_merged_title_harms_nothing_and_merged_samples_do() -> None:
    title = workbook(("List", [["Our samples", None], ["Sample", "g"], ["a", 1]]), merged="A1:B1")
    assert read_table(title, "list.xlsx").problems == ()
    inside = workbook(("List", [["Sample", "g"], ["a", 1], [None, 2]]), merged="A2:A3")
    assert [problem.row for problem in read_table(inside, "list.xlsx").problems] == [2]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"  \n", "is empty."),
        (b"PK\x03\x04 cut off", "is damaged or cut off."),
        (b"\xd0\xcf\x11\xe0 old", "Save it as XLSX or as CSV"),
        ("Sämple\nä".encode("cp1252"), "Save it as CSV in UTF-8, or as XLSX."),
        (("Sample\n" + "a\n" * 5000).encode(), "Load at most 5000 rows at once."),
    ],
    ids=["empty", "damaged", "old", "encoding", "too many"],
)
def test_a_file_that_cannot_be_read_is_a_problem_in_words(content: bytes, words: str) -> None:
    table = read_table(content, "list")
    assert table.rows == ()
    assert words in " ".join(map(str, table.problems))


@given(st.binary(max_size=200))
def test_no_bytes_make_the_reading_fail(content: bytes) -> None:
    table = read_table(content, "x")
    assert table.rows or table.problems
    day_first_of(table, 0, [0])
