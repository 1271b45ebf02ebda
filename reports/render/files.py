"""Every file that a certificate is issued as, drawn from its frozen document and from nothing else."""

from collections.abc import Callable

from reports.document import CertificateDocument
from reports.render.archive import Attachment
from reports.render.as_json import render_json
from reports.render.pdf import render_certificate
from reports.render.tables import render_csv, render_long
from reports.render.xlsx import render_workbook

Progress = Callable[[int, int], None]
"""Called with parts done and parts in all while a long document is drawn."""


def draw_files(document: CertificateDocument, progress: Progress | None = None) -> dict[str, bytes]:
    """Return the bytes of each kind of file (`reports.models.FILE_KINDS`); the PDF carries the tables for programs.

    Raises what `render_certificate` raises.
    """
    tables = {"csv": render_csv(document), "long": render_long(document), "json": render_json(document)}
    pdf = render_certificate(document, _attached(document, tables), progress)
    return {"pdf": pdf, "xlsx": render_workbook(document), **tables}


def _attached(document: CertificateDocument, tables: dict[str, bytes]) -> list[Attachment]:
    name = f"{document.number}-issue-{document.issue}"
    return [
        Attachment(f"{name}.csv", "text/csv", "Results, a row a sample", "Data", tables["csv"]),
        Attachment(f"{name}.json", "application/json", "The whole certificate, for programs", "Source", tables["json"]),
    ]
