"""Certificates: seen before they exist, issued once, amended and withdrawn in the open."""

from functools import partial

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from labresults.queries.samples import submission as find_submission
from labresults.queries.waiting import at
from labresults.terms import Station
from labresults.web.acting import answer, attempt, say_errors
from labresults.web.shared import for_clients, is_staff, listing
from reports.actions import certificates as acts
from reports.queries import pages
from reports.queries.files import content_of, file_name
from reports.queries.previews import preview_pdf
from reports.web.filters.certificates import CertificateFilter
from reports.web.forms.certificates import AmendForm, IssueForm, WithdrawForm
from reports.web.tables.certificates import CertificateTable, state_of

_TYPES = {"pdf": "application/pdf", "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"}


def certificates(request: HttpRequest) -> HttpResponse:
    """Every certificate, and what waits for one."""
    waiting = at(Station.CERTIFICATES)
    lead = f"{sum(row.samples for row in waiting)} samples wait for their certificate." if waiting else ""
    acts_offered = [(f"Certify {row.submission}", reverse("certify", args=[row.submission])) for row in waiting[:6]]
    return listing(
        request, CertificateTable, CertificateFilter, pages.certificates(), title="Certificates", lead=lead,
        here=Station.CERTIFICATES, acts=acts_offered,
    )  # fmt: skip


def certify(request: HttpRequest, number: str) -> HttpResponse:
    """A submission on its way to a certificate: what is missing, the preview, the issue."""
    form = IssueForm(request.POST or None)
    if request.method == "POST":
        return _issue(request, number, form)
    context = {"ready": pages.ready(number), "form": form, "here": Station.CERTIFICATES}
    return render(request, "reports/web/certify.html", context)


def _issue(request: HttpRequest, number: str, form: IssueForm) -> HttpResponse:
    """Freeze the certificate, then draw it: two acts, so that a failed drawing is made again from what is frozen."""
    if not form.is_valid():
        say_errors(request, form)
        return redirect("certify", number)
    done = partial(acts.issue_certificate, by=request.user, at=timezone.now(), submission=find_submission(number))
    certificate = attempt(request, partial(done, **form.cleaned_data), "{} is issued.")
    if certificate is None:
        return redirect("certify", number)
    return _draw(request, certificate)


def _draw(request: HttpRequest, certificate: object) -> HttpResponse:
    done = partial(acts.publish_certificate, by=request.user, at=timezone.now(), certificate=certificate)
    attempt(request, done, "Its PDF and its spreadsheet are kept, and will not change.")
    return redirect("certificate", certificate.number, certificate.issue)  # type: ignore[attr-defined]


def preview(request: HttpRequest, number: str) -> HttpResponse:
    """The certificate as it would be issued now, as PDF."""
    form = IssueForm(request.GET)
    if not form.is_valid():
        say_errors(request, form)
        return redirect("certify", number)
    submission = find_submission(number)
    newest = pages.ready(number).newest
    content = preview_pdf(
        submission=submission, by=request.user, at=timezone.now(), replaces=newest and pages.certificate(
            newest.number, newest.issue
        ), **form.cleaned_data,
    )  # fmt: skip
    return _file(content, "pdf", f"{number}-preview.pdf")


def certificate(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """One issue: every printed number with its way back, its files, and what can be done with it."""
    row = pages.certificate(number, issue)
    files = pages.kinds_of_files(row)
    row.is_drawn = bool(files)  # type: ignore[attr-defined]
    context = {
        "certificate": row,
        "document": pages.document_of(row),
        "files": files,
        "state": state_of(row),
        "amend": AmendForm(initial={"rule_set": row.rule_set_id}),
        "withdraw": WithdrawForm(),
        "is_newest": not hasattr(row, "replaced_by"),
        "here": Station.CERTIFICATES,
    }
    return render(request, "reports/web/certificate.html", context)


@require_POST
def draw(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """Draw a frozen certificate whose drawing failed."""
    return _draw(request, pages.certificate(number, issue))


@require_POST
def amend(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """Issue a certificate anew, naming the one that it replaces."""
    form = AmendForm(request.POST)
    if not form.is_valid():
        say_errors(request, form)
        return redirect("certificate", number, issue)
    row = pages.certificate(number, issue)
    done = partial(acts.amend_certificate, by=request.user, at=timezone.now(), certificate=row, **form.cleaned_data)
    new = attempt(request, done, "{} is issued.")
    return _draw(request, new) if new else redirect("certificate", number, issue)


@require_POST
def withdraw(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """Take a certificate back."""
    row = pages.certificate(number, issue)
    done = partial(acts.withdraw_certificate, by=request.user, at=timezone.now(), certificate=row)
    to = reverse("certificate", args=[number, issue])
    return answer(request, WithdrawForm(request.POST), lambda given: done(**given), "It is withdrawn.", to)


@for_clients
def file(request: HttpRequest, number: str, issue: int, kind: str) -> HttpResponse:
    """The bytes as they went out. A client's people get their own, and cannot tell others' from what is not there."""
    row = pages.certificate(number, issue)
    if not is_staff(request) and row.submission.client_id != request.user.client_id:
        raise Http404(f"There is no certificate {number}, issue {issue}.")
    return _file(content_of(pages.file_of(row, kind)), kind, file_name(row, kind))


def _file(content: bytes, kind: str, name: str) -> HttpResponse:
    response = HttpResponse(content, content_type=_TYPES[kind])
    response["Content-Disposition"] = f'{"inline" if kind == "pdf" else "attachment"}; filename="{name}"'
    return response
