"""What is printed at the counter, at the bench and at the instrument: receipt, bench sheet, report of a run."""

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from reports.queries.bench_sheet import bench_sheet_pdf
from reports.queries.paper import receipt_pdf
from reports.queries.run_report import run_report_pdf

MOST_DIGITS = 9


def receipt(request: HttpRequest, number: str) -> HttpResponse:
    """The receipt of a submission, as PDF."""
    return pdf(receipt_pdf(number, timezone.now()), f"{number}-receipt.pdf")


def bench_sheet(request: HttpRequest, number: str) -> HttpResponse:
    """The bench sheet of a batch, as PDF."""
    return pdf(bench_sheet_pdf(number, timezone.now(), str(request.user)), f"{number}-bench-sheet.pdf")


def run_report(request: HttpRequest, number: str) -> HttpResponse:
    """The report of a run, as PDF: of its newest evaluation, or of the one that is asked for."""
    asked = request.GET.get("evaluation", "")
    version = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < MOST_DIGITS else None
    return pdf(run_report_pdf(number, timezone.now(), str(request.user), version), f"{number}-run-report.pdf")


def pdf(content: bytes, name: str) -> HttpResponse:
    """A PDF that the browser shows, under a name of its own when it is kept."""
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}"'
    response["Cache-Control"] = "private, no-store"
    return response
