"""Files of certificates as answers."""

from django.http import HttpResponse

TYPES = {
    "pdf": "application/pdf",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "csv": "text/csv; charset=utf-8",
    "long": "text/csv; charset=utf-8",
    "json": "application/json",
}


def sent_file(content: bytes, kind: str, name: str) -> HttpResponse:
    """The bytes as they are: a PDF is shown, everything else is saved."""
    response = HttpResponse(content, content_type=TYPES[kind])
    response["Content-Disposition"] = f'{"inline" if kind == "pdf" else "attachment"}; filename="{name}"'
    response["X-Content-Type-Options"] = "nosniff"
    response["Cache-Control"] = "private, no-store"  # what a client reads stays out of caches that others share
    return response
