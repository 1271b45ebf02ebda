"""How long a certificate takes to draw and how much memory, beside bare WeasyPrint of the same strings.

    .venv/bin/python -m tests.benchmarks.certificates
    .venv/bin/python -m tests.benchmarks.certificates 60x12 2000x12

Samples x analytes. The floor is one table of plain cells in fixed layout, and a tagged archival PDF. Both are taken in
processor seconds, each in a warm process of its own, one after the other: only their ratio counts. Not part of the
suite.
"""

import resource
import sys
from dataclasses import dataclass
from html import escape
from multiprocessing import get_context
from time import process_time
from typing import Any

from reports.document import CertificateDocument
from reports.render.frame import Block, frame_html
from reports.render.pdf import render_certificate
from reports.render.printing import PRINT_FOLDER
from reports.render.sheets import lay_out
from tests.render import documents
from tests.render.reading import pages

CASES = ("14x8", "60x12", "200x45", "500x12", "1000x12", "2000x12")


@dataclass(frozen=True)
class Measured:
    """What one drawing took."""

    seconds: float
    peak_mb: float
    pages: int
    size_kb: float


def bare_html(document: CertificateDocument) -> str:
    """Return the certificate with its results as one plain table."""
    layout = lay_out(document)
    html = frame_html(document, layout, [Block("results", "0", False)])
    heads = "".join(f"<th>{escape(column.formula)}<br>{escape(column.unit)}</th>" for column in document.columns)
    rows = "".join(
        f"<tr><th>{escape(row.number)}</th><td>{escape(row.client_identification)}</td>"
        + "".join(f"<td>{escape(cell.printed + cell.mark)}</td>" for cell in row.cells)
        + "</tr>"
        for row in document.rows
    )
    table = f'<table style="table-layout: fixed"><thead><tr><th>Sample</th><th></th>{heads}</tr></thead>{rows}</table>'
    return html.replace('<div id="head-end"></div>', table)


def _bare(document: CertificateDocument) -> bytes:
    import weasyprint  # noqa: PLC0415

    page = weasyprint.HTML(string=bare_html(document), base_url=PRINT_FOLDER.as_uri() + "/")
    return page.write_pdf(pdf_variant="pdf/a-3a")  # type: ignore[no-any-return]


def _measure(case: str, bare: bool, answers: Any) -> None:
    samples, analytes = map(int, case.split("x"))
    draw = _bare if bare else render_certificate
    draw(documents.certificate(2, 1))  # nothing is imported, and no face is read, in what is measured
    document = documents.certificate(analytes, samples)
    begun = process_time()
    pdf = draw(document)
    seconds = process_time() - begun
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
    answers.put(Measured(seconds, peak, len(pages(pdf)), len(pdf) / 1000))


def measure(case: str, bare: bool) -> Measured:
    """Draw once in a process of its own."""
    context = get_context("spawn")
    answers = context.Queue()
    process = context.Process(target=_measure, args=(case, bare, answers))
    process.start()
    measured: Measured = answers.get()
    process.join()
    return measured


def main(cases: list[str]) -> None:
    """Print a line for each case."""
    print("case        ours s  pages  s/page  peak MB   kB | bare s  pages  peak MB | ratio, a page's ratio")
    for case in cases:
        ours, bare = measure(case, bare=False), measure(case, bare=True)
        per_page = (ours.seconds / ours.pages) / (bare.seconds / bare.pages)
        print(
            f"{case:10} {ours.seconds:7.2f} {ours.pages:6} {ours.seconds / ours.pages:7.3f} {ours.peak_mb:8.0f}"
            f" {ours.size_kb:5.0f} | {bare.seconds:6.2f} {bare.pages:6} {bare.peak_mb:8.0f}"
            f" | {ours.seconds / bare.seconds:5.2f}, {per_page:.2f}",
            flush=True,
        )


if __name__ == "__main__":
    main(sys.argv[1:] or list(CASES))
