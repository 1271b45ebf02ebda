"""The portal: what a client's people see of their own, and the files that they fetch."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from labresults.web.shared import for_clients, is_staff, parts
from reports.actions.fetches import record_fetch
from reports.queries import pages, portal
from reports.queries.delivery import layouts_of
from reports.queries.files import content_of, file_name
from reports.queries.recipients import has_fetched
from reports.web.sending import TYPES, sent_file


@for_clients
def my_submissions(request: HttpRequest) -> HttpResponse:
    """What is on its way, the certificates in force, and what the client was told."""
    return render(request, "reports/web/portal.html", {"portal": portal.portal(request.user)})


@for_clients
def my_submission(request: HttpRequest, number: str) -> HttpResponse:
    """One submission: how far it has come, its samples and its certificates."""
    row = portal.own_submission(request.user.client_id, number)
    context = {
        "client": request.user.client,
        "way": portal.way_of(row),
        "issues": portal.issues_of(row),
        "making": portal.making_of(row),
        "samples": parts(portal.own_samples(row), request.GET.get("page"), 200),
    }
    return render(request, "reports/web/portal_submission.html", context)


@for_clients
def my_certificates(request: HttpRequest) -> HttpResponse:
    """Every issue of every certificate of the client, the newest first."""
    page = parts(portal.issues(request.user.client_id), request.GET.get("page"), 30)
    context = {"client": request.user.client, "page": page, "issues": [portal.issue_of(row) for row in page]}
    return render(request, "reports/web/portal_certificates.html", context)


@for_clients
def my_certificate(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """One issue: whether it stands, its files, what changed, and what was told of it."""
    found = portal.one_issue(request.user.client_id, number, issue)
    document = pages.document_of(found.certificate)
    context = {
        "client": request.user.client,
        "issue": found,
        "document": document,
        "changes": pages.group(document.changes),
        "fetched": portal.fetched_by(request.user, number),
        "layouts": layouts_of(request.user.client),
    }
    return render(request, "reports/web/portal_certificate.html", context)


@for_clients
def file(request: HttpRequest, number: str, issue: int, kind: str) -> HttpResponse:
    """The bytes as they went out. A client's people get their own, and cannot tell others' from what is not there.

    What does not stand any more leads them through the page that says so; what they fetch is on record.
    """
    row = pages.certificate(number, issue)
    if kind not in TYPES or (not is_staff(request) and row.submission.client_id != request.user.client_id):
        raise Http404(f"There is no {kind} file of certificate {number}, issue {issue}.")
    bytes_of = pages.file_of(row, kind)
    if not is_staff(request):
        if pages.is_over(row) and "known" not in request.GET:
            return redirect(f"{reverse('my-certificate', args=[number, issue])}#files")
        if not has_fetched(row, request.user.pk, kind):
            record_fetch(by=request.user, at=timezone.now(), certificate=row, kind=kind)
    return sent_file(content_of(bytes_of), kind, file_name(row, kind))
