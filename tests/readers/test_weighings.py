"""Weighings: what a balance or a bench sheet lists, by layouts that are data."""

import json

import pytest

from labresults.readers.layout import BadLayout
from labresults.readers.weighing_layout import WeighingHeadings, WeighingLayout
from labresults.readers.weighings import Amount, read_weighings


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
    layout = WeighingLayout(headings=WeighingHeadings(label="Probe", mass_g="Einwaage"), decimal_sign=",")
    found = read_weighings(text.encode(), layout)
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
    assert read_weighings(b"label,mass g\n\xb5,1\n", WeighingLayout(encoding="cp1252")).weighings[0].label == "µ"


BALANCE = WeighingLayout(
    name="balance B2",
    headings=WeighingHeadings(label="Sample ID", tare_g="Tare", gross_g="Gross", mass_g="", final_g="End weight"),
    decimal_sign=",",
    heading_row=3,
)


def test_a_balance_file_gives_the_mass_as_gross_less_tare_to_the_digit() -> None:
    # given a file with two lines above its headings, decimal commas and units behind its numbers
    text = "Balance B2;26.11.2026\n\nSample ID;Tare;Gross;End weight\nKF26-00001;12,3456 g;12,8468 g;62,1\n"
    # when it is read in the balance's layout
    found = read_weighings(text.encode(), BALANCE)
    # then the mass is exact as a decimal, where binary subtraction gives 0.5012000000000008
    assert found.problems == ()
    row = found.weighings[0]
    assert (row.row, row.label, row.mass_g) == (4, "KF26-00001", Amount("0.5012", 0.5012))
    assert row.texts() == {"mass_g": "0.5012", "tare_g": "12.3456", "final_g": "62.1"}


def test_milligrams_become_grams_exactly() -> None:
    found = read_weighings(b"label,mass g\nA,501.2 mg\n", WeighingLayout(mass_unit="mg"))
    assert found.weighings[0].mass_g == Amount("0.5012", 0.5012)


def test_a_dilution_that_is_a_number_is_typed_as_a_factor() -> None:
    rows = read_weighings(b"label,dilution\nA,10\nB,5 mL to 50 mL\nC,1 + 9 = x 10\n").weighings
    assert [row.texts()["dilution"] for row in rows] == ["x 10.0", "5 mL to 50 mL", "1 + 9 = x 10"]


@pytest.mark.parametrize(
    ("text", "column", "says"),
    [
        ("label,gross g\nA,12.8\n", "gross g", "no tare"),
        ("label,gross g,tare g\nA,12.3,12.3\n", "gross g", "not above the tare"),
        ("label,gross g,tare g,mass g\nA,12.8468,12.3456,0.5021\n", "gross g", "0.5021 g is listed"),
        ("label,mass g\nA,501 mg\n", "mass g", "is in mg, and the layout has g"),
        ("label,density kg/L\nA,1020\n", "density kg/L", "below 25"),
    ],
)
def test_masses_that_do_not_go_together(text: str, column: str, says: str) -> None:
    problems = read_weighings(text.encode()).problems
    assert [(problem.row, problem.column) for problem in problems] == [(2, column)]
    assert says in problems[0].what + problems[0].what_to_do


def test_a_net_mass_that_is_listed_too_may_differ_by_the_last_digit() -> None:
    found = read_weighings(b"label,gross g,tare g,mass g\nA,12.8468,12.3456,0.5013\n")
    assert (found.problems, found.weighings[0].mass_g) == ((), Amount("0.5013", 0.5013))


def test_a_layout_is_written_and_read_back() -> None:
    assert WeighingLayout.from_json(BALANCE.to_json()) == BALANCE
    assert json.loads(BALANCE.to_json())["headings"]["label"] == "Sample ID"


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"name": ""}, "name"),
        ({"decimal_sign": ";"}, "decimal sign"),
        ({"mass_unit": "oz"}, "g or mg"),
        ({"heading_row": 0}, "rows count from 1"),
        ({"encoding": "base64"}, "unknown"),
        ({"headings": {"mass_g": "label"}}, "two things"),
        ({"headings": {"label": ""}}, "heading of the label"),
        ({"headings": {"mass": "m"}}, "Unknown settings: mass"),
        ({"sign": ","}, "Unknown settings: sign"),
        ({"headings": 4}, "cannot be read"),
    ],
)
def test_a_layout_that_cannot_be_applied_says_why(given: dict[str, object], says: str) -> None:
    with pytest.raises(BadLayout, match=says):
        WeighingLayout.from_json(json.dumps(given))
