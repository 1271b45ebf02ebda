"""The five files of one certificate, opened by other people's programs, say the same: cell by cell."""

import csv
import shutil
import subprocess
from io import BytesIO, StringIO
from pathlib import Path

import pandas as pd
import pytest
from openpyxl import load_workbook
from pypdf import PdfReader

from reports.document import CertificateDocument
from reports.render.files import draw_files
from reports.render.numbers import plain
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


@pytest.mark.skipif(SOFFICE is None, reason="LibreOffice is not installed (Debian: libreoffice-calc-nogui)")
def test_libreoffice_shows_the_printed_figures(issued: Issued, tmp_path: Path) -> None:
    """LibreOffice computes nothing anew: it writes what it shows, and that is what the certificate prints."""
    document, files = issued
    (tmp_path / "certificate.xlsx").write_bytes(files["xlsx"])
    profile = f"-env:UserInstallation=file://{tmp_path / 'profile'}"
    convert = [
        str(SOFFICE),
        profile,
        "--headless",
        "--convert-to",
        "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true",
    ]
    subprocess.run(
        [*convert, "--outdir", tmp_path, tmp_path / "certificate.xlsx"], check=True, capture_output=True, timeout=120
    )
    lines = list(csv.reader(StringIO((tmp_path / "certificate.csv").read_text(encoding="utf-8"), newline="")))
    heads = next(line for line in lines if line[0] == "Sample" and line[4].endswith(" value"))
    shown = {line[0]: line for line in lines}
    places = [at for at, head in enumerate(heads) if head.endswith(" value")]
    for row, strings in zip(document.rows, printed(document), strict=True):
        assert [shown[row.number][at] for at in places] == strings
