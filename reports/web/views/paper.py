"""What the counter prints: the receipt for the client, and labels that a scanner reads."""

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from reports.queries.paper import labels_pdf, receipt_pdf


def receipt(request: HttpRequest, number: str) -> HttpResponse:
    """The receipt of a submission, as PDF."""
    return _pdf(receipt_pdf(number, timezone.now()), f"{number}-receipt.pdf")


def labels(request: HttpRequest, number: str) -> HttpResponse:
    """Labels of a submission, as PDF."""
    return _pdf(labels_pdf(number), f"{number}-labels.pdf")


def _pdf(content: bytes, name: str) -> HttpResponse:
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}"'
    return response
