"""The workbook beside the certificate: read back as a spreadsheet would show it."""

import re
from dataclasses import replace
from hashlib import sha256
from io import BytesIO
from typing import Any

import pytest
from openpyxl import Workbook, load_workbook

from reports.document import Cell, CertificateDocument
from reports.render.numbers import shown
from reports.render.xlsx import render_workbook
from tests.render import documents

FIRST_VALUE = 5  # column of the first analyte


def display(value: Any, code: str) -> str:
    """Return what a spreadsheet shows of `value` under a format code, as far as our codes go."""
    if isinstance(value, str):
        return value
    sections = code.split(";")
    section = sections[1] if value < 0 and len(sections) > 1 else sections[0]
    literals: list[str] = []

    def keep(match: re.Match[str]) -> str:
        literals.append(match[1])
        return "\x00"

    bare = re.sub(r'"([^"]*)"', keep, section)
    pattern = re.search(r"[#0\x00]*0(?:\.0+)?", bare)
    assert pattern is not None, code
    decimals = len(pattern[0].partition(".")[2])
    whole, _, rest = f"{abs(value):.{decimals}f}".partition(".")
    digits, out = list(whole), []
    for place in reversed(pattern[0].partition(".")[0].lstrip("\x00")):
        out.append("\x00" if place == "\x00" else digits.pop() if digits else "0" if place == "0" else "")
    text = "".join(digits) + "".join(reversed(out)) + ("." + rest if decimals else "")
    before, after = bare[: pattern.start()], bare[pattern.end() :]
    if pattern[0].startswith("\x00"):
        before += "\x00"
    full = before + text + after
    for literal in literals:
        full = full.replace("\x00", literal, 1)
    return full


def _open(document: CertificateDocument) -> Workbook:
    return load_workbook(BytesIO(render_workbook(document)))


def _row_of(book: Workbook, number: str) -> Any:
    return next(row for row in book["Results"].iter_rows() if row[0].value == number)


def _names(book: Workbook) -> list[str]:
    """Return what stands over the further columns: value, limit, and so on, for all analytes."""
    sheet = book["Results"]
    last_head = int(re.sub(r"\D", "", sheet.freeze_panes)) - 1
    return [cell.value for cell in sheet[last_head][FIRST_VALUE - 1 :] if cell.value != "Conformity"]


def test_each_cell_shows_the_figures_of_the_certificate() -> None:
    document = documents.certificate(24, 30, conformity=True)
    book = _open(document)
    width = len(_names(book)) // 24
    for row in document.rows:
        line = _row_of(book, row.number)
        for at, cell in enumerate(row.cells):
            there = line[FIRST_VALUE - 1 + at * width]
            assert display(there.value, there.number_format) == cell.printed
            assert isinstance(there.value, str) is (cell.number is None)
        assert line[FIRST_VALUE - 1 + 24 * width].value == row.conformity


def test_a_value_below_its_limit_is_text_and_its_limit_a_number_beside_it() -> None:
    document = documents.certificate(1, 1)
    cell = Cell("Au", "<0.20", None, "<", "0.20", 2, "", "", 1)
    book = _open(replace(document, rows=(replace(document.rows[0], cells=(cell,)),)))
    value, limit = _row_of(book, document.rows[0].number)[FIRST_VALUE - 1 : FIRST_VALUE + 1]
    assert (value.value, value.data_type) == ("<0.20", "s")
    assert (limit.value, display(limit.value, limit.number_format)) == (0.2, "0.20")
    assert _names(book)[:2] == ["Au value", "Au limit"]


def test_a_result_in_another_unit_than_its_column_is_text_that_nobody_adds_up() -> None:
    # given copper in mg/kg, one of two samples in %
    document = replace(documents.certificate(1, 2), columns=(replace(documents.columns(1)[0], unit="mg/kg"),))
    cells = [
        Cell("Au", "120", "120", "", None, 0, "", "12", 1),
        Cell("Au", "5.43\u00a0%", "5.43", "", None, 2, "", "0.22", 1),
    ]
    rows = tuple(replace(row, cells=(cell,)) for row, cell in zip(document.rows, cells, strict=True))
    book = _open(replace(document, rows=rows))
    assert _names(book)[:3] == ["Au value", "Au limit", "Au U"]
    found = [
        [there.value for there in _row_of(book, row.number)[FIRST_VALUE - 1 : FIRST_VALUE + 2]] for row in document.rows
    ]
    assert found == [[120, None, 12], ["5.43\u00a0%", None, "0.22\u00a0%"]]


def test_words_stay_words_even_if_they_begin_with_a_figure() -> None:
    document = documents.certificate(1, 1)
    cell = Cell("Au", "2 bags lost", None, "", None, 0, "", "", None)
    book = _open(replace(document, rows=(replace(document.rows[0], cells=(cell,)),)))
    assert _row_of(book, document.rows[0].number)[FIRST_VALUE - 1].value == "2 bags lost"


@pytest.mark.parametrize("own", ["=1+1", "+49", "-3", "@SUM(A1)", "007", "1E5", "  two  spaces ", '<b>&"x', "12/11"])
def test_identification_is_text_to_the_letter(own: str) -> None:
    document = documents.certificate(1, 1)
    book = _open(replace(document, rows=(replace(document.rows[0], client_identification=own),)))
    cell = _row_of(book, document.rows[0].number)[1]
    assert (cell.value, cell.data_type) == (own, "s")


def test_units_and_limits_stand_over_each_analyte() -> None:
    document = documents.certificate(8, 2)
    sheet = _open(document)["Results"]
    heads = {row[0].value: row for row in sheet.iter_rows()}
    width = len(_names(_open(document))) // 8
    for at, column in enumerate(document.columns):
        index = FIRST_VALUE - 1 + at * width
        assert heads["Analyte"][index].value == column.formula
        assert heads["Unit"][index].value == column.unit
        assert heads["Method"][index].value == column.method
        limit = heads["Detection limit"][index]
        assert (limit.value, display(limit.value, limit.number_format)) == (
            float(column.detection_limit),
            column.detection_limit,
        )
        assert heads["Quantification limit"][index].value == float(column.quantification_limit)


def test_further_columns_appear_only_where_something_stands_in_them() -> None:
    plain = documents.certificate(1, 1)
    cell = replace(plain.rows[0].cells[0], u="0.10", detection_limit="0.04", mark="a")
    full = replace(plain, rows=(replace(plain.rows[0], cells=(cell,)),))
    assert _names(_open(plain)) == ["Au value", "Au limit"]
    assert _names(_open(full)) == ["Au value", "Au limit", "Au U", "Au own detection limit", "Au remark"]
    line = _row_of(_open(full), plain.rows[0].number)
    assert [cell.value for cell in line[6:9]] == [0.1, 0.04, "a"]


def test_further_sheets_hold_methods_control_samples_and_an_explanation() -> None:
    document = documents.certificate(8, 2)
    book = _open(document)
    assert book.sheetnames == ["Results", "Methods and limits", "Control samples", "Read me"]
    methods = [value for row in book["Methods and limits"].values for value in row]
    for text in (document.rule_text, *document.statements, document.check_code, document.chain_head):
        assert text in methods
    controls = list(book["Control samples"].values)
    assert len(controls) == 1 + len(document.controls)
    assert controls[-1][-1] == document.controls[-1].accepted_because
    assert book["Control samples"].freeze_panes == book["Methods and limits"].freeze_panes == "A2"


def test_the_file_says_which_certificate_it_is() -> None:
    document = documents.certificate(2, 2)
    book = _open(document)
    said = {prop.name: prop.value for prop in book.custom_doc_props.props}
    assert said == {
        "Certificate": "C26-0297",
        "Issue": "1",
        "Document SHA-256": sha256(document.to_json().encode()).hexdigest(),
    }
    assert book.properties.title == "Certificate of analysis C26-0297, issue 1"


def test_the_same_document_gives_the_same_bytes(monkeypatch: pytest.MonkeyPatch) -> None:
    document = documents.certificate(3, 3)
    first = render_workbook(document)
    monkeypatch.setattr("time.time", lambda: 2_000_000_000.0)
    monkeypatch.setattr("time.localtime", lambda *_: (2033, 5, 18, 3, 33, 20, 2, 138, 0))
    assert render_workbook(document) == first


def test_preliminary_and_amended_say_so() -> None:
    assert "PRELIMINARY" in _open(replace(documents.certificate(1, 1), preliminary=True))["Results"]["A1"].value
    amended = documents.amendment()
    cells = [value for row in _open(amended)["Methods and limits"].values for value in row]
    assert {"119", "123", "As, mg/kg"} <= set(cells)


@pytest.mark.parametrize(
    ("printed", "value"),
    [
        ("4.12", 4.12),
        ("0.050", 0.05),
        ("12", 12.0),
        ("1\u00a0020", 1020.0),
        ("1\u202f234\u202f567.80", 1234567.8),
        ("−0.5", -0.5),
        ("-12", -12.0),
        ("1.02 %", 1.02),
        ("103\u00a0mg/kg", 103.0),
    ],
)
def test_a_printed_number_is_shown_again_as_it_was(printed: str, value: float) -> None:
    number = shown(printed)
    assert number is not None
    assert number.value == value
    assert display(number.value, number.format) == printed


@pytest.mark.parametrize("text", ["<0.2", ">100", "184 ± 9", "90–110", "insufficient sample", "", "1,5", "12 3"])
def test_what_is_not_one_number_stays_text(text: str) -> None:
    assert shown(text) is None


def test_filters_stand_on_the_heads_and_every_page_repeats_them() -> None:
    document = documents.certificate(8, 30)
    book = _open(document)
    sheet = book["Results"]
    head = int(re.sub(r"\D", "", sheet.freeze_panes)) - 1
    first, last = sheet.auto_filter.ref.split(":")
    assert first == f"A{head}"
    assert last.endswith(str(head + len(document.rows)))
    heads = [cell.value for cell in sheet[head] if cell.value]
    assert len(heads) == len(set(heads)) == sheet[last].column
    assert (sheet.print_title_rows, sheet.print_title_cols) == (f"$1:${head}", "$A:$B")
    for each in book.worksheets:
        setup = each.page_setup
        assert (setup.orientation, int(setup.paperSize), setup.fitToWidth, setup.fitToHeight) == ("landscape", 9, 1, 0)
        assert document.number in each.oddFooter.left.text


def test_the_last_sheet_explains_the_file() -> None:
    said = " ".join(str(value) for row in _open(documents.everything())["Read me"].values for value in row if value)
    for text in ("is text, so that nobody adds it up", documents.everything().check_code, "never a formula"):
        assert text in said


def test_means_over_sets_opinions_and_derived_results_are_there() -> None:
    document = documents.everything()
    book = _open(document)
    results = [value for row in book["Results"].values for value in row]
    for grade in document.grades:
        assert grade.name in results
    methods = " ".join(str(value) for row in book["Methods and limits"].values for value in row)
    for words in (*(note.formula for note in document.derived_notes), *(note.text for note in document.opinions)):
        assert words in methods
