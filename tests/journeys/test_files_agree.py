"""The five files of one certificate, opened by other people's programs, say the same: cell by cell."""

import csv
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import replace
from io import BytesIO, StringIO
from pathlib import Path

import pandas as pd
import pytest
from openpyxl import load_workbook
from pypdf import PdfReader

from labresults.readers.problem import Problem, problems_csv
from reports.delivery import DELIMITERS, DeliveryLayout
from reports.document import CertificateDocument
from reports.render.delivery import render_delivery
from reports.render.files import draw_files
from reports.render.numbers import plain
from reports.render.tables import render_csv, render_long
from tests.render import documents

DOCUMENTS = {
    "ordinary": documents.certificate(8, 14),
    "wide": documents.certificate(24, 9),
    "compared with limits": documents.certificate(6, 10, conformity=True),
    "everything": documents.everything(),
}
SOFFICE = shutil.which("soffice")


@pytest.fixture(scope="module", params=DOCUMENTS, ids=list(DOCUMENTS))
def issued(request: pytest.FixtureRequest) -> tuple[CertificateDocument, dict[str, bytes]]:
    document = DOCUMENTS[request.param]
    return document, draw_files(document)


Issued = tuple[CertificateDocument, dict[str, bytes]]


def printed(document: CertificateDocument) -> list[list[str]]:
    """The strings of the certificate, by row and column; "" where nothing was asked."""
    rows = []
    for row in document.rows:
        cells = {cell.column: cell.printed for cell in row.cells}
        rows.append([cells.get(column.key, "") for column in document.columns])
    return rows


def read_by_program(text: str) -> str:
    """A printed string as a table for programs has it."""
    sign, rest = (text[0], text[1:]) if text[:1] in "<>" and text else ("", text)
    return f"{sign}{plain(rest)}" if plain(rest) != rest or rest.replace(".", "").isdigit() else text


def test_the_pdf_prints_every_string(issued: Issued) -> None:
    document, files = issued
    text = " ".join(page.extract_text() for page in PdfReader(BytesIO(files["pdf"])).pages)
    squeezed = "".join(text.split()).replace("\u00a0", "")
    missing = [
        string
        for row in printed(document)
        for string in row
        if "".join(string.split()).replace("\u00a0", "") not in squeezed
    ]
    assert missing == []


def test_pandas_reads_the_wide_table(issued: Issued) -> None:
    document, files = issued
    frame = pd.read_csv(BytesIO(files["csv"]), dtype=str, keep_default_na=False)
    for column, position in zip(document.columns, range(len(document.columns)), strict=True):
        head = next(name for name in frame.columns if name.startswith(f"{column.formula} {column.unit}"))
        assert frame[head].tolist() == [read_by_program(row[position]) for row in printed(document)]


def test_openpyxl_and_pandas_read_the_workbook(issued: Issued) -> None:
    document, files = issued
    sheet = load_workbook(BytesIO(files["xlsx"]), data_only=True)["Results"]
    head = int("".join(filter(str.isdigit, str(sheet.freeze_panes)))) - 1
    frame = pd.read_excel(BytesIO(files["xlsx"]), sheet_name="Results", header=head - 1, nrows=len(document.rows))
    assert frame["Sample"].tolist() == [row.number for row in document.rows]
    values = [name for name in frame.columns if str(name).endswith(" value")]
    for line, row in zip(frame[values].itertuples(index=False), document.rows, strict=True):
        cells = {cell.column: cell for cell in row.cells}
        for value, column in zip(line, document.columns, strict=True):
            cell = cells.get(column.key)
            if cell is None or not cell.printed:
                assert pd.isna(value)
            elif cell.number is None:
                assert value == cell.printed
            else:
                assert float(value) == float(cell.number)


HARMFUL = (
    "=1234*5678",
    "a;=1234*5678;b",
    "a\t=1234*5678\tb",
    "a\n=1234*5678;b",
    'a;"=1234*5678";b',
    '=1234*5678;"=1234*5678',
    "a,=1234*5678,b",
    "+1234*5678",
    "a;'=1234*5678",
)
"""What a client could write: 7006652 stands nowhere else."""


@pytest.fixture(scope="module")
def tables() -> dict[str, bytes]:
    """Every table of text that somebody opens, with such texts in it."""
    document = documents.certificate(2, len(HARMFUL))
    rows = zip(document.rows, HARMFUL, strict=True)
    document = replace(document, rows=tuple(replace(row, client_identification=text) for row, text in rows))
    layouts = {
        f"{shape}-{delimiter}": DeliveryLayout(
            f"{shape}-{delimiter}", columns=("client identification", "sample"), shape=shape, delimiter=delimiter
        )
        for shape in ("wide", "long")
        for delimiter in DELIMITERS
    }
    problems = [Problem(1, "A", "It is no number.", "Look at it.", found=text, file="a.csv") for text in HARMFUL]
    return {
        "csv": render_csv(document),
        "long": render_long(document),
        "problems": problems_csv(problems),
        **{name: render_delivery(document, layout) for name, layout in layouts.items()},
    }


@pytest.mark.skipif(SOFFICE is None, reason="LibreOffice is not installed (Debian: libreoffice-calc-nogui)")
@pytest.mark.parametrize("separators", ["44", "59", "9", "44/59/9"])
def test_no_spreadsheet_calculates_what_a_client_wrote(
    separators: str, tables: dict[str, bytes], tmp_path: Path
) -> None:
    """Whatever a spreadsheet parts fields at (44 comma, 59 semicolon, 9 tab): a formula would show 7006652."""
    for name, content in {**tables, "unguarded": b"a;=1234*5678;b,=1234*5678,a\t=1234*5678"}.items():
        (tmp_path / f"{name}.csv").write_bytes(content)
    converted(tmp_path, sorted(tmp_path.glob("*.csv")), f"--infilter=CSV:{separators},34,76,1")
    shown = {path.stem: path.read_text(encoding="utf-8") for path in (tmp_path / "shown").glob("*.csv")}
    assert {name for name, text in shown.items() if "7006652" in text} == {"unguarded"}
    assert shown.keys() == {*tables, "unguarded"}
    assert not [name for name, text in shown.items() if "Err:" in text]


def converted(folder: Path, files: Sequence[Path], *more: str) -> None:
    """LibreOffice writes what it shows of each file as text, into the folder `shown`."""
    profile = f"-env:UserInstallation=file://{folder / 'profile'}"
    to = ["--convert-to", "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true", "--outdir", folder / "shown"]
    subprocess.run(
        [str(SOFFICE), profile, "--headless", *more, *to, *files], check=True, capture_output=True, timeout=240
    )


@pytest.mark.skipif(SOFFICE is None, reason="LibreOffice is not installed (Debian: libreoffice-calc-nogui)")
def test_libreoffice_shows_the_printed_figures(issued: Issued, tmp_path: Path) -> None:
    """LibreOffice computes nothing anew: it writes what it shows, and that is what the certificate prints."""
    document, files = issued
    (tmp_path / "certificate.xlsx").write_bytes(files["xlsx"])
    converted(tmp_path, [tmp_path / "certificate.xlsx"])
    shown_as = (tmp_path / "shown" / "certificate.csv").read_text(encoding="utf-8")
    lines = list(csv.reader(StringIO(shown_as, newline="")))
    heads = next(line for line in lines if line[0] == "Sample" and line[4].endswith(" value"))
    shown = {line[0]: line for line in lines}
    places = [at for at, head in enumerate(heads) if head.endswith(" value")]
    for row, strings in zip(document.rows, printed(document), strict=True):
        assert [shown[row.number][at] for at in places] == strings
