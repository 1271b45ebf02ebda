"""What is printed at the counter and at the bench: the receipt for the client, the sheet that lies beside the tubes."""

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from reports.queries.bench_sheet import bench_sheet_pdf
from reports.queries.paper import receipt_pdf


def receipt(request: HttpRequest, number: str) -> HttpResponse:
    """The receipt of a submission, as PDF."""
    return pdf(receipt_pdf(number, timezone.now()), f"{number}-receipt.pdf")


def bench_sheet(request: HttpRequest, number: str) -> HttpResponse:
    """The bench sheet of a batch, as PDF."""
    return pdf(bench_sheet_pdf(number, timezone.now(), str(request.user)), f"{number}-bench-sheet.pdf")


def pdf(content: bytes, name: str) -> HttpResponse:
    """A PDF that the browser shows, under a name of its own when it is kept."""
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}"'
    return response
