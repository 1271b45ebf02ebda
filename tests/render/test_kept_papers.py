"""Receipts, labels, bench sheets, reports of runs and ways back: tagged and fit to be kept, by the same checks."""

from collections.abc import Callable
from dataclasses import replace
from io import BytesIO

import pikepdf
import pytest

from reports.paper import Notice
from reports.render.bench_sheet import render_bench_sheet
from reports.render.labels import render_labels
from reports.render.paper import render_receipt
from reports.render.run_report import render_run_report
from reports.render.trace_report import render_trace_report
from reports.run_report import Picture, PositionLine, RunReport
from reports.trace_report import EventLine, RecordLine, RuleLine, SumLine, TraceReport
from tests.render.archival import CHECKS
from tests.render.papers import BENCH, RECEIPT, labels
from tests.render.structure import elements

DRAWING = (
    '<svg viewBox="0 0 100 50" role="img" aria-label="Copper &amp; zinc"><path class="p-axis" d="M0 25H100"/></svg>'
)
PICTURE = Picture("Copper drifts by 2 %.", DRAWING)
RUN = RunReport(
    laboratory="Kestrel Flat Laboratory", number="R26-0001", title="Aqua regia", method="AR-7 v1", printed="now",
    facts=(Notice("Begun", "16 November 2026"),), answers=(), unit="mg/L", files=(), curves=(), smalls=(PICTURE,),
    pictures=(PICTURE, Picture("Zinc <1 %", DRAWING.replace(' aria-label="Copper &amp; zinc"', ""))),
    judged=(), failures=(), failure_count=0, left_out=(), repeats=(), repeat_count=0,
    positions=tuple(PositionLine(str(at), "", f"KF26-{at:05d}", "sample", "", False) for at in range(1, 90)),
)  # fmt: skip
WAY_BACK = TraceReport(
    laboratory="Kestrel Flat Laboratory", name="Cu in KF26-00001", title="Why 4.1 g/t?", printed="now",
    verdict="the same", facts=(Notice("Client", "Ninefold"),), lineage=PICTURE,
    rules=(RuleLine("rounded", "three", "4.1"),),
    sums=(SumLine("c", "", "1 + 2", "3", "1", "R26-0001", "12"),), standards=(), calibration=PICTURE,
    controls=(), shares=(),
    records=(RecordLine("weighing", "1", "0.2714 g", "9"),),
    events=(EventLine("9", "now", "roe", "weighed", "9f" * 32),),
    remarks=(), unit="g/t", solution_unit="mg/L",
)  # fmt: skip
PAPERS: dict[str, Callable[[], bytes]] = {
    "receipt": lambda: render_receipt(RECEIPT),
    "long receipt": lambda: render_receipt(replace(RECEIPT, lines=RECEIPT.lines * 30)),
    "labels": lambda: render_labels(labels(30, cut_lines=True)),
    "bench sheet": lambda: render_bench_sheet(BENCH),
    "report of a run": lambda: render_run_report(RUN),
    "way back": lambda: render_trace_report(WAY_BACK),
}


@pytest.mark.parametrize("paper", PAPERS)
def test_a_paper_meets_every_clause(paper: str) -> None:
    with pikepdf.open(BytesIO(PAPERS[paper]())) as pdf:
        assert {clause: wrong for clause, check in CHECKS.items() if (wrong := check(pdf))} == {}


def test_a_paper_says_what_it_is_and_whose() -> None:
    with pikepdf.open(BytesIO(render_receipt(RECEIPT))) as pdf:
        assert (str(pdf.trailer.Info.Title), str(pdf.trailer.Info.Author)) == (
            "Receipt S26-0327",
            "Kestrel Flat Laboratory",
        )


def test_a_drawing_is_heard_in_words() -> None:
    with pikepdf.open(BytesIO(render_run_report(RUN))) as pdf:
        heard = [str(element.Alt) for element in elements(pdf) if element.S == "/Figure"]
    assert heard == ["Copper & zinc", "Zinc <1 %"]  # as it is called; where it has no name, what it shows
