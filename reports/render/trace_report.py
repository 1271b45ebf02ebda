"""The way back of a number to PDF, on the faces and tables of the other papers."""

from dataclasses import asdict
from hashlib import sha256
from json import dumps

from reports.render.kept import kept_pdf
from reports.render.printing import fill
from reports.render.run_report import STYLE, styled
from reports.trace_report import TraceReport

_LINEAGE = STYLE.replace(
    "</style>",
    """
.p-flow { stroke: #17212b; stroke-width: 1.4; fill: none; } .p-flow.side { stroke: #7a857f; stroke-width: 1.1; }
.l-stn { fill: #5c6871; font-style: italic; font-size: 14px; } .l-step { font-size: 19px; }
.l-last { font-weight: 600; } .l-a { font-size: 13px; font-weight: 600; } .l-b { fill: #5c6871; font-size: 12.5px; }
</style>""",
)


def render_trace_report(report: TraceReport) -> bytes:
    """Return the paper as PDF, A4. Raises PangoMissing or CannotPrint, as a certificate does."""
    context = {
        "report": report,
        "lineage": styled(report.lineage, _LINEAGE),
        "calibration": styled(report.calibration) if report.calibration else None,
    }
    return kept_pdf(fill("reports/trace-report.html", context), _identifier(report))


def _identifier(report: TraceReport) -> bytes:
    """Return 16 bytes made of the content, so that the same paper is the same file."""
    return sha256(dumps(asdict(report), sort_keys=True).encode()).digest()[:16]
