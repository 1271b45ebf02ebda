"""A client: what it gets, how it is laid out, and who of it gets it."""

from functools import partial

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from labresults.acts import BadInput
from labresults.queries.samples import client as find_client
from labresults.web.acting import answer
from labresults.web.shared import for_clients, is_staff
from reports.actions.delivery import register_recipient, save_delivery_layout
from reports.actions.fetches import record_fetch
from reports.queries import delivery as queries
from reports.queries import pages
from reports.queries.delivery_previews import delivered, first_lines
from reports.queries.recipients import has_fetched
from reports.web.forms.delivery import COLUMNS_IN_WORDS, HEADS_IN_WORDS, LayoutForm, RecipientForm

FILES = [("pdf", "PDF"), ("xlsx", "workbook"), ("csv", "CSV, a row a sample"), ("long", "CSV, a row a result"),
         ("json", "JSON")]  # fmt: skip


def client(request: HttpRequest, code: str) -> HttpResponse:
    """One client: who gets its certificates, and the layouts that were agreed."""
    row = find_client(code)
    layouts = queries.layouts_of(row)
    context = {
        "client": row, "layouts": layouts, "recipients": queries.recipients_of(row), "people": queries.people_of(row),
        "layout_form": LayoutForm(), "recipient_form": RecipientForm(documents=_documents(layouts)),
        "columns": COLUMNS_IN_WORDS, "heads": HEADS_IN_WORDS, "here": "clients",
    }  # fmt: skip
    return render(request, "reports/web/client.html", context)


@require_POST
def save_layout(request: HttpRequest, code: str) -> HttpResponse:
    """Save a layout as agreed."""
    row = find_client(code)
    done = partial(save_delivery_layout, by=request.user, at=timezone.now(), client=row)
    names = ("layout", "agreed", "reason")
    return answer(
        request, LayoutForm(request.POST), lambda given: done(**{name: given[name] for name in names}),
        "The layout is saved.", reverse("client", args=[code]),
    )  # fmt: skip


@require_POST
def look(request: HttpRequest, code: str) -> HttpResponse:
    """What a layout that is being typed makes of the client's newest certificate; nothing is saved."""
    form, newest = LayoutForm(request.POST), queries.newest_certificate(find_client(code))
    shown, trouble = "", ""
    if not form.is_valid():
        trouble = " ".join(str(error) for errors in form.errors.values() for error in errors)
    elif newest is None:
        trouble = "The client has no certificate yet to show it on."
    else:
        try:
            shown = first_lines(newest, form.cleaned_data["layout"])
        except BadInput as refusal:
            trouble = str(refusal)
    unusual = form.cleaned_data["layout"].needs_agreement if form.is_valid() else ()
    context = {"shown": shown, "trouble": trouble, "certificate": newest, "unusual": unusual}
    return render(request, "reports/web/layout_look.html", context)


@require_POST
def save_recipient(request: HttpRequest, code: str) -> HttpResponse:
    """Enter somebody who gets documents, or that they get none any more."""
    row = find_client(code)
    form = RecipientForm(request.POST, documents=_documents(queries.layouts_of(row)))
    done = partial(register_recipient, by=request.user, at=timezone.now(), client=row)
    return answer(request, form, lambda given: done(**given), "It is entered.", reverse("client", args=[code]))


@for_clients
def laid_out(request: HttpRequest, number: str, issue: int, name: str) -> HttpResponse:
    """A certificate's results in one of its client's layouts. A client's people get their own, as `portal.file`."""
    row = pages.certificate(number, issue)
    if not is_staff(request) and row.submission.client_id != request.user.client_id:
        raise Http404(f"There is no certificate {number}, issue {issue}.")
    if not pages.kinds_of_files(row):
        raise Http404(f"{row} is not drawn yet.")
    content = delivered(row, queries.layout_of(row.submission.client, name))
    if not is_staff(request):
        if pages.is_over(row) and "known" not in request.GET:
            return redirect(f"{reverse('my-certificate', args=[number, issue])}#files")
        if not has_fetched(row, request.user.pk, "csv"):
            record_fetch(by=request.user, at=timezone.now(), certificate=row, kind="csv")
    response = HttpResponse(content, content_type="text/csv")
    response["Content-Disposition"] = f'attachment; filename="{number}-issue-{issue}-laid-out.csv"'
    return response


def _documents(layouts: list[object]) -> list[tuple[str, str]]:
    return [*FILES, *((layout.name, f"laid out as {layout.name}") for layout in layouts)]  # type: ignore[attr-defined]
