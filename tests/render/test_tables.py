"""Results as CSV and JSON: the printed figures, for programs; whatever a client wrote does no harm in a spreadsheet."""

import csv
import json
import re
from dataclasses import replace
from io import BytesIO, StringIO
from pathlib import Path

import jsonschema
import pandas as pd
import pikepdf
import pytest

import reports
from labresults.readers.harmless import as_line, protected
from reports.document import Cell, CertificateDocument, Column, Remark, Row
from reports.render.as_json import SCHEMA_FILE, render_json
from reports.render.files import draw_files
from reports.render.tables import LONG, render_csv, render_long, written
from tests.render.documents import amendment, certificate, everything, with_limits_of_their_own

SCHEMA = json.loads((Path(reports.__file__).parent / "static" / SCHEMA_FILE).read_text(encoding="utf-8"))
MANY = [certificate(), certificate(45, 3), certificate(4, 8, conformity=True), amendment(), with_limits_of_their_own(),
        everything()]  # fmt: skip


def read(content: bytes) -> list[list[str]]:
    return list(csv.reader(StringIO(content.decode("utf-8-sig"), newline="")))


COPPER = Column("AR Cu", "Cu", "mg/kg", "dry basis", "AR", "0.5", "1.5")
WRITTEN = [
    (Cell("AR Cu", "4.10", "4.10", "", None, 2, "", "", 1), "4.10", "4.10", "", "mg/kg"),
    (Cell("AR Cu", "<0.5", None, "<", "0.5", 1, "", "", 1), "<0.5", "", "0.5", "mg/kg"),
    (Cell("AR Cu", "18\u00a0700", "18700", "", None, 0, "", "", 1), "18700", "18700", "", "mg/kg"),
    (Cell("AR Cu", ">10\u00a0000", None, ">", "10000", 0, "", "", 1), ">10000", "", "10000", "mg/kg"),
    (Cell("AR Cu", "5.43\u00a0%", "5.43", "", None, 2, "", "", 1), "5.43 %", "5.43", "", "%"),
    (Cell("AR Cu", "n.d.", None, "<", "0.5", 1, "", "", 1), "n.d.", "", "0.5", "mg/kg"),
    (Cell("AR Cu", "above range", None, ">", "10000", 0, "", "", 1), "above range", "", "10000", "mg/kg"),
    (Cell("AR Cu", "insufficient sample", None, "", None, 0, "", "", None), "insufficient sample", "", "", "mg/kg"),
]  # fmt: skip


@pytest.mark.parametrize(("cell", "value", "number", "limit", "unit"), WRITTEN, ids=[row[1] for row in WRITTEN])
def test_a_result_as_text(cell: Cell, value: str, number: str, limit: str, unit: str) -> None:
    found = written(cell, COPPER)
    assert (found.value, found.number, found.limit, found.unit) == (value, number, limit, unit)


def test_beside_a_switched_unit_stand_no_limits_of_the_columns_unit() -> None:
    # given a result in % in a column of mg/kg, whose limits are in mg/kg
    document = certificate(1, 1)
    column = replace(COPPER, key=document.columns[0].key, method=document.columns[0].method)
    cell = replace(WRITTEN[4][0], column=column.key, detection_limit="0.5", quantification_limit="1.5")
    document = replace(document, columns=(column,), rows=(replace(document.rows[0], cells=(cell,)),))
    # then no program reads 5.43 % beside 0.5 %
    line = dict(zip(*read(render_long(document)), strict=True))
    assert (line["unit"], line["detection limit"], line["quantification limit"]) == ("%", "", "")
    (result,) = json.loads(render_json(document))["samples"][0]["results"]
    assert (result["unit"], result["detection_limit"], result["quantification_limit"]) == ("%", None, None)


@pytest.mark.parametrize("document", MANY, ids=lambda d: f"{len(d.columns)} x {len(d.rows)}")
def test_the_wide_table_holds_every_result_once(document: CertificateDocument) -> None:
    heads, *lines = read(render_csv(document))
    assert len(set(heads)) == len(heads)
    assert {len(line) for line in lines} == {len(heads)}
    assert [line[0] for line in lines] == [row.number for row in document.rows]
    for line, row in zip(lines, document.rows, strict=True):
        cells = {cell.column: cell for cell in row.cells}
        for column in document.columns:
            place = next(at for at, head in enumerate(heads) if head.startswith(f"{column.formula} {column.unit}"))
            expected = written(cells[column.key], column).value if column.key in cells else ""
            assert line[place] == expected


@pytest.mark.parametrize("document", MANY, ids=lambda d: f"{len(d.columns)} x {len(d.rows)}")
def test_the_long_table_holds_every_result_once(document: CertificateDocument) -> None:
    heads, *lines = read(render_long(document))
    assert heads == list(LONG)
    assert len(lines) == sum(bool(cell.printed) for row in document.rows for cell in row.cells)
    frame = pd.read_csv(BytesIO(render_long(document)), dtype=str, keep_default_na=False)
    assert frame["sample"].unique().tolist() == [row.number for row in document.rows]


@pytest.mark.parametrize("document", MANY, ids=lambda d: f"{len(d.columns)} x {len(d.rows)}")
def test_the_json_is_as_its_schema_says(document: CertificateDocument) -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    data = json.loads(render_json(document))
    jsonschema.validate(data, SCHEMA)
    printed = [result["printed"] for sample in data["samples"] for result in sample["results"]]
    assert printed == [cell.printed for row in document.rows for cell in row.cells if cell.printed]


def test_the_schema_refuses_what_it_does_not_know() -> None:
    data = json.loads(render_json(certificate()))
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(data | {"more": 1}, SCHEMA)
    data["samples"][0]["results"][0]["number"] = 4.1
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(data, SCHEMA)


FORMULAS = [
    "=1+1",
    "+4",
    "-4",
    "@SUM(A1)",
    "\tx",
    "'=1",
    "'",
    "=cmd|' /C calc'!A0",
    "pit 7",
    "",
    "a,b",
    'say "x"',
    "a\nb",
    "a;=1+1;b",
    "a;b",
    "a\t@SUM(A1)\t",
    "a\r\n=1+1;b",
    'a;"=1+1',
    "a;'=1;''",
    "pit 7, -20 cm",
]


def to_the_letter(text: str) -> str:
    """As the module says: one apostrophe taken away at the beginning, and behind each separator."""
    return re.sub("(^|[;\t\r\n])'", r"\1", text)


@pytest.mark.parametrize("text", FORMULAS)
def test_what_a_client_wrote_is_kept_to_the_letter_and_is_no_formula(text: str) -> None:
    document = replace(certificate(1, 1), rows=(replace(certificate(1, 1).rows[0], client_identification=text),))
    found = read(render_csv(document))[1][1]
    assert found == protected(text)
    assert not any(part.startswith(("=", "+", "-", "@")) for part in re.split('[;\t\r\n]"*', found))
    assert to_the_letter(found) == text
    assert json.loads(render_json(document))["samples"][0]["client_identification"] == text


def test_numbers_are_not_quoted_and_what_a_spreadsheet_may_part_is() -> None:
    assert as_line(["4.10", "-0.5", "<0.5", 0.1, None, "pit 7"]) == "4.10,-0.5,<0.5,0.1,,pit 7\r\n"
    assert as_line(["4,10", "<0,5", "a,b", "a;b"], ";") == '4,10;<0,5;"a,b";"a;b"\r\n'
    assert as_line(["4,10", "a;b", "a\tb", 'say "x"']) == '"4,10","a;b","a\tb","say ""x"""\r\n'
    assert protected("pit 7,-20;+1", ";") == "pit 7,'-20;+1"


def test_words_of_the_laboratory_are_no_formulas_either() -> None:
    # given a remark and statements that begin like formulas: people type reasons, and names stand before statements
    document = certificate(1, 1)
    cell = Cell(document.columns[0].key, "4.1", "4.1", "", None, 1, "a", "", 1, statement="-1")
    row = replace(document.rows[0], cells=(cell,), conformity="=1+1")
    document = replace(document, rows=(row,), remarks=(Remark("a", "+4"),))
    line = dict(zip(*read(render_long(document)), strict=True))
    assert (line["remark"], line["statement of conformity"]) == ("'+4", "'-1")
    assert read(render_csv(document))[1][-1] == "'=1+1"


def test_the_json_has_the_limits_of_a_sample_of_its_own() -> None:
    document = certificate(1, 1)
    cells = tuple(replace(cell, detection_limit="0.9", quantification_limit="2.7") for cell in document.rows[0].cells)
    own = replace(document, rows=(replace(document.rows[0], cells=cells),))
    (result,) = json.loads(render_json(own))["samples"][0]["results"]
    assert (result["detection_limit"], result["quantification_limit"]) == ("0.9", "2.7")


def test_a_mark_is_explained_beside_its_number() -> None:
    cell = Cell("Cu", "4.1", "4.1", "", None, 1, "a, c", "", 1)
    document = replace(
        certificate(4, 1),
        rows=(Row("KF26-00001", "pit 7", "rock", "", (cell,)),),
        remarks=(Remark("a", "First."), Remark("b", "Second."), Remark("c", "Third.")),
    )
    heads, line = read(render_long(document))
    assert line[heads.index("remark")] == "First. Third."


def test_the_pdf_carries_the_tables() -> None:
    files = draw_files(certificate())
    assert set(files) == {"pdf", "xlsx", "csv", "long", "json"}
    with pikepdf.open(BytesIO(files["pdf"])) as pdf:
        carried = {name: bytes(spec.get_file().read_bytes()) for name, spec in pdf.attachments.items()}
    number = certificate().number
    assert carried == {f"{number}-issue-1.csv": files["csv"], f"{number}-issue-1.json": files["json"]}
