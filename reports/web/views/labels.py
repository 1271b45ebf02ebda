"""Labels: which sheet, which labels; then the sheet as PDF. Nothing is stored."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from labresults.terms import Station
from reports.queries.labels import Labelled, labels_of_batch, labels_of_submission, labels_pdf
from reports.web.forms.labels import LabelForm
from reports.web.views.paper import pdf

REMEMBERS = "label-sheet"
"""Cookie with the sheet that was printed last from this browser: a printer keeps its labels. Nothing else is in it."""
_YEAR_S = 365 * 86_400


def labels(request: HttpRequest, number: str) -> HttpResponse:
    """Labels of a submission's samples: the sheet is chosen and seen."""
    return _choose(request, labels_of_submission(number), "labels", "submission", Station.RECEPTION)


def labels_file(request: HttpRequest, number: str) -> HttpResponse:
    """Labels of a submission's samples, as PDF."""
    return _file(request, labels_of_submission(number), "labels")


def batch_labels(request: HttpRequest, number: str) -> HttpResponse:
    """Labels of a batch's tubes: the sheet is chosen and seen."""
    return _choose(request, labels_of_batch(number), "batch-labels", "batch", Station.PREPARATION)


def batch_labels_file(request: HttpRequest, number: str) -> HttpResponse:
    """Labels of a batch's tubes, as PDF."""
    return _file(request, labels_of_batch(number), "batch-labels")


def _choose(request: HttpRequest, of: Labelled, page: str, of_page: str, here: Station) -> HttpResponse:
    form = LabelForm(request.GET, of, request.COOKIES.get(REMEMBERS, ""))
    context = {
        "form": form,
        "of": of,
        "picture": form.picture if form.is_valid() else None,
        "file": reverse(f"{page}-file", args=[of.number]),
        "back": reverse(of_page, args=[of.number]),
        "here": here,
    }
    return render(request, "reports/web/labels.html", context)


def _file(request: HttpRequest, of: Labelled, page: str) -> HttpResponse:
    form = LabelForm(request.GET, of, request.COOKIES.get(REMEMBERS, ""))
    if not form.is_valid() or form.sheet is None:
        return redirect(f"{reverse(page, args=[of.number])}?{request.GET.urlencode()}")
    response = pdf(labels_pdf(form.sheet), f"{of.number}-labels.pdf")
    response.set_cookie(
        REMEMBERS, form.kept_sheet(), _YEAR_S, secure=request.is_secure(), httponly=True, samesite="Lax"
    )
    return response
