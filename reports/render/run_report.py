"""Reports of runs to PDF, on the certificate's faces and tables."""

import re
from dataclasses import asdict
from hashlib import sha256
from html import escape
from json import dumps

from reports.render.kept import kept_pdf
from reports.render.printing import fill
from reports.run_report import NO_CERTIFICATE, NOT_RECOMPUTED, Picture, RunReport

_FACE = "'Atkinson Hyperlegible Next', 'Atkinson Hyperlegible Next Wider', 'Signs', sans-serif"
STYLE = f"""<style>
text {{ font-family: {_FACE}; fill: #17212b; font-size: 12.5px; }}
.m-line {{ font-size: 11px; }} .p-book {{ font-size: 14px; }} .p-bad, .p-strong {{ font-size: 13px; font-weight: 600; }}
.p-axis {{ stroke: #17212b; stroke-width: 1; fill: none; }} .p-grid {{ stroke: #dfe2d9; stroke-width: 1; fill: none; }}
.p-line {{ stroke: #17212b; stroke-width: 1.4; fill: none; }}
.p-thin {{ stroke: #5c6871; stroke-width: 1; fill: none; }}
.p-dash {{ stroke: #5c6871; stroke-width: 1; fill: none; stroke-dasharray: 5 3; }}
.p-limit {{ stroke: #97231a; stroke-width: 1.2; fill: none; stroke-dasharray: 7 3; }}
.p-band {{ fill: #e6ebe4; }} .p-late {{ fill: #f8e6e0; }} .p-dot {{ fill: #17212b; }}
.p-point {{ fill: #0b5760; }} .p-open {{ fill: #fff; stroke: #0b5760; stroke-width: 1.6; }} .p-out {{ fill: #97231a; }}
.m-below {{ stroke: #5c6871; stroke-width: 1.2; fill: none; }}
.m-touched {{ stroke: #c4574a; stroke-width: 1.6; fill: none; }}
.m-none {{ fill: #fff; stroke: #7a857f; stroke-width: 1; }}
.m-spread {{ fill: none; stroke: #6f4b00; stroke-width: 1.8; }}
.m-carried {{ fill: none; stroke: #17212b; stroke-width: 1.6; }}
</style>"""
"""What the classes of drawings look like on paper: a drawing is not styled by the page around it when it is printed."""


_LABEL = re.compile(r'aria-label="([^"]*)"')
_TITLE = re.compile(r"<title>[^<]*</title>")
_AROUND = re.compile(r"<g>((?:(?!</?g\b).)*)</g>", re.DOTALL)
"""Words that a pointer shows, and groups that held nothing else: a third of all elements of a drawing."""


def render_run_report(report: RunReport) -> bytes:
    """Return the report as PDF, A4. Raises PangoMissing or CannotPrint, as a certificate does."""
    context = {
        "report": report,
        "no_certificate": NO_CERTIFICATE,
        "not_recomputed": NOT_RECOMPUTED,
        "smalls": [styled(picture) for picture in report.smalls],
        "pictures": [styled(picture) for picture in report.pictures],
    }
    return kept_pdf(fill("reports/run-report.html", context), _identifier(report))


def styled(picture: Picture, style: str = STYLE) -> Picture:
    """A drawing with its style and what it is in words inside it, without what only a screen can show."""
    head, end, rest = picture.drawing.partition(">")
    rest = _AROUND.sub(r"\1", _TITLE.sub("", rest))
    label = _LABEL.search(head)  # escaped already
    words = label[1] if label else escape(picture.finding)
    return Picture(picture.finding, f"{head}{end}<title>{words}</title>{style}{rest}")


def _identifier(report: RunReport) -> bytes:
    """Return 16 bytes made of the content, so that the same paper is the same file."""
    return sha256(dumps(asdict(report), sort_keys=True).encode()).digest()[:16]
