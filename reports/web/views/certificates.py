"""Certificates: seen before they exist, issued once, drawn beside the pages."""

from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from labresults.queries.nonconforming import cases_printed
from labresults.queries.samples import submission as find_submission
from labresults.queries.waiting import at
from labresults.terms import Station
from labresults.web.acting import say_errors
from labresults.web.shared import listing
from reports.actions import certificates as acts
from reports.issuing import draw_soon, progress_of
from reports.queries import pages
from reports.queries.delivery import layouts_of
from reports.queries.previews import preview_pdf
from reports.queries.recipients import fetches_of, not_told, notices_of
from reports.queries.rule_sets import chosen_rules
from reports.web.filters.certificates import CertificateFilter
from reports.web.forms.certificates import IssueForm, WithdrawForm
from reports.web.keeping import attempt_to_keep
from reports.web.sending import sent_file
from reports.web.tables.certificates import CertificateTable, state_of


def certificates(request: HttpRequest) -> HttpResponse:
    """Every certificate, and what waits for one."""
    waiting = at(Station.CERTIFICATES)
    lead = f"{sum(row.samples for row in waiting)} samples wait for their certificate." if waiting else ""
    acts_offered = [(f"Certify {row.submission}", reverse("certify", args=[row.submission])) for row in waiting[:6]]
    acts_offered.append(("Reporting rules", reverse("rule-sets")))
    return listing(
        request, CertificateTable, CertificateFilter, pages.certificates(), title="Certificates", lead=lead,
        here=Station.CERTIFICATES, acts=acts_offered,
    )  # fmt: skip


def certify(request: HttpRequest, number: str) -> HttpResponse:
    """A submission on its way to a certificate, alone or with others: what is missing, the preview, the issue."""
    if request.method == "POST":
        return _issue(request, number)
    row = find_submission(number)
    others = pages.combinable(row)
    further = [each for each, _ in others if each in request.GET.getlist("further")]
    form = IssueForm(initial={"further": further, "rule_set": chosen_rules(row)}, others=others)
    context = {"ready": pages.ready(row, further), "form": form, "here": Station.CERTIFICATES}
    return render(request, "reports/web/certify.html", context)


def _issue(request: HttpRequest, number: str) -> HttpResponse:
    """Freeze the certificate and have it drawn: two acts, so that a failed drawing begins again from what is frozen."""
    row = find_submission(number)
    form = IssueForm(request.POST, others=pages.combinable(row))
    if not form.is_valid():
        say_errors(request, form)
        return redirect("certify", number)
    if there := pages.issued_by(form.cleaned_data["form_key"]):
        return redirect("certificate", there.number, there.issue)  # the same form again: it is issued already
    given = form.cleaned_data | {"further": pages.beside(row, form.cleaned_data["further"])}
    done = partial(acts.issue_certificate, by=request.user, at=timezone.now(), submission=row, **given)
    certificate = attempt_to_keep(request, done, "{} is issued.")
    if certificate is None:
        return redirect("certify", number)
    draw_soon(certificate, request.user, timezone.now)
    return redirect("certificate", certificate.number, certificate.issue)


def preview(request: HttpRequest, number: str) -> HttpResponse:
    """The certificate as it would be issued now, as PDF."""
    row = find_submission(number)
    form = IssueForm(request.GET, others=pages.combinable(row))
    if not form.is_valid():
        say_errors(request, form)
        return redirect("certify", number)
    given = form.cleaned_data
    content = preview_pdf(
        submission=row, by=request.user, at=timezone.now(), replaces=pages.newest_of(row),
        further=pages.beside(row, given["further"]), rule_set=given["rule_set"], preliminary=given["preliminary"],
    )  # fmt: skip
    return sent_file(content, "pdf", f"{number}-preview.pdf")


def certificate(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """One issue: every printed number with its way back, its files, and what can be done with it."""
    row = pages.certificate(number, issue)
    document, part = pages.part_of(row, pages.place(request.GET.get("from")))
    context = _files(row) | {
        "document": document,
        "part": part,
        "further": pages.further_of(row),
        "state": state_of(row),
        "withdraw": WithdrawForm(),
        "is_newest": not hasattr(row, "replaced_by"),
        "notices": notices_of(row),
        "not_told": not_told(row),
        "fetches": fetches_of(row),
        "cases": cases_printed(row.lines.filter(result__isnull=False).values("result")),
        "here": Station.CERTIFICATES,
    }
    return render(request, "reports/web/certificate.html", context)


def progress(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """The part of a certificate's page that says how far its drawing has come; asked for every second."""
    return render(request, "reports/web/certificate_files.html", _files(pages.certificate(number, issue)))


def _files(row: pages.Certificate) -> dict[str, object]:
    files = pages.kinds_of_files(row)
    row.is_drawn = bool(files)  # type: ignore[attr-defined]
    layouts = layouts_of(row.submission.client) if files else []
    return {"certificate": row, "files": files, "layouts": layouts, "progress": None if files else progress_of(row.pk)}


@require_POST
def draw(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    """Draw a frozen certificate whose drawing failed, or was cut short."""
    draw_soon(pages.certificate(number, issue), request.user, timezone.now)
    return redirect("certificate", number, issue)
