"""Which columns stand together, and where a decimal point stands."""

from dataclasses import replace

import pytest

from reports.render.figures import decimals, figure, formula_parts, width_em
from reports.render.sheets import lay_out
from tests.render import documents


@pytest.mark.parametrize(
    ("analytes", "conformity", "landscape", "parts"),
    [
        pytest.param(8, True, False, [8], id="eight columns and a statement stand upright"),
        pytest.param(10, True, True, [10], id="ten columns and a statement lie on one sheet"),
        pytest.param(24, False, True, [12, 12], id="24 columns are parted evenly"),
        pytest.param(23, False, True, [12, 11], id="the odd one stands in the first part"),
    ],
)
def test_layout(analytes: int, conformity: bool, landscape: bool, parts: list[int]) -> None:
    layout = lay_out(documents.certificate(analytes, 14, conformity))
    assert layout.landscape is landscape
    assert [len(sheet.heads) for sheet in layout.sheets] == parts


@pytest.mark.parametrize("analytes", range(1, 25))
def test_no_column_is_lost_and_none_stands_twice(analytes: int) -> None:
    document = documents.certificate(analytes, 3, conformity=True)
    sheets = lay_out(document).sheets
    assert " ".join(sheet.formulas for sheet in sheets) == " ".join(column.formula for column in document.columns)
    for sheet in sheets:
        assert [line.number for line in sheet.lines] == [row.number for row in document.rows]
        assert all(len(line.cells) == len(sheet.heads) for line in sheet.lines)
    assert [sheet.has_conformity for sheet in sheets] == [False] * (len(sheets) - 1) + [True]


def test_a_sample_without_a_column_leaves_its_place_empty() -> None:
    document = documents.certificate(3, 2)
    short = replace(document.rows[0], cells=document.rows[0].cells[1:])
    (sheet,) = lay_out(replace(document, rows=(short, document.rows[1]))).sheets
    assert [cell.text for cell in sheet.lines[0].cells] == ["", *(cell.printed for cell in short.cells)]


def test_a_long_identification_is_broken_rather_than_cut() -> None:
    document = documents.certificate(3, 2)
    rows = (replace(document.rows[0], client_identification="x" * 60), document.rows[1])
    assert lay_out(replace(document, rows=rows)).long_identification
    assert not lay_out(document).long_identification


def test_matrix_and_condition_are_said_where_samples_differ() -> None:
    document = documents.certificate(2, 2)
    rows = (document.rows[0], replace(document.rows[1], matrix="soil", condition="bag torn"))
    (sheet,) = lay_out(replace(document, rows=rows)).sheets
    assert [line.note for line in sheet.lines] == ["rock, in good order", "soil, bag torn"]
    assert [line.note for line in lay_out(document).sheets[0].lines] == ["", ""]


def test_columns_of_one_method_stay_together_where_that_costs_no_sheet() -> None:
    document = documents.certificate(20, 2)
    methods = ["AR"] * 7 + ["FA"] * 13
    columns = tuple(replace(c, method=m) for c, m in zip(document.columns, methods, strict=True))
    layout = lay_out(replace(document, columns=columns))
    assert [[head.method for head in sheet.heads] for sheet in layout.sheets] == [["AR"] * 7, ["FA"] * 13]


def test_rows_of_several_submissions_are_grouped() -> None:
    document = documents.certificate(2, 3)
    rows = tuple(replace(r, submission=s) for r, s in zip(document.rows, ("S1", "S1", "S2"), strict=True))
    (sheet,) = lay_out(replace(document, rows=rows)).sheets
    assert [line.group for line in sheet.lines] == ["S1", "", "S2"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [("4.12", 2), ("<0.2", 1), ("1\u00a0020", 0), (">100", 0), ("−0.05", 2), ("insufficient sample", None), ("", None)],
)
def test_decimals_of_a_printed_number(text: str, expected: int | None) -> None:
    assert decimals(text) == expected


@pytest.mark.parametrize(
    ("text", "column", "style"),
    [
        pytest.param("4.12", 2, "num", id="as many decimals as the column"),
        pytest.param("65.6", 2, "num g1", id="one digit less"),
        pytest.param("140", 1, "num g1 gp", id="no point: one digit and the point"),
        pytest.param("3\u00a0640", 4, "num g4 gp", id="thousands"),
        pytest.param("not received", 2, "word", id="words stand apart"),
        pytest.param("1.02 %", 1, "num", id="a number with a unit of its own stays whole"),
    ],
)
def test_padding_to_the_decimal_point(text: str, column: int, style: str) -> None:
    assert figure(text, column).style == style


def test_two_figures_of_a_column_reach_equally_far_right_of_the_point() -> None:
    assert width_em("140", 1) - width_em("140") == pytest.approx(width_em("140.5", 1) - width_em("140"))


@pytest.mark.parametrize(
    ("formula", "parts"),
    [
        ("Al2O3", (("Al", False), ("2", True), ("O", False), ("3", True))),
        ("Cu", (("Cu", False),)),
        ("on ignition", (("on", False), (" ", False), ("ignition", False))),
        ("as CaCO3", (("as", False), (" ", False), ("CaCO", False), ("3", True))),
        ("Mn55", (("Mn", False), ("55", True))),
    ],
)
def test_figures_of_a_formula_stand_low(formula: str, parts: tuple[tuple[str, bool], ...]) -> None:
    assert formula_parts(formula) == parts
