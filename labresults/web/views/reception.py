"""Reception: a delivery is pasted or typed, looked at row by row, and logged whole or not at all."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from labresults.actions.samples import receive_samples
from labresults.acts import BadInput
from labresults.queries.delivery import delivered, problems_of
from labresults.queries.lists import submissions
from labresults.queries.waiting import at
from labresults.terms import Station
from labresults.web.forms.reception import DeliveryForm, PasteForm, Row, rows_pasted, rows_typed, with_problems


def reception(request: HttpRequest) -> HttpResponse:
    """The counter: log a delivery; nothing is saved until every row is right."""
    form, paste = DeliveryForm(request.POST or None), PasteForm(request.POST or None)
    rows: list[Row] = []
    if request.method == "POST":
        rows = rows_typed(request.POST)
        if paste.is_valid():
            matrix = paste.cleaned_data["matrix"]
            rows += rows_pasted(paste.cleaned_data["paste"], matrix.name if matrix else "")
            paste = PasteForm(initial={"matrix": matrix.name if matrix else None})
        if "log" in request.POST and form.is_valid():
            try:
                submission = receive_samples(
                    by=request.user, at=timezone.now(), rows=delivered(rows), **form.arguments()
                )
            except BadInput as refusal:
                messages.error(request, str(refusal))
            else:
                messages.success(request, f"{submission} is logged: {len(rows)} samples. Print its labels and receipt.")
                return redirect("submission", submission.number)
    return render(request, "labresults/reception.html", _context(form, paste, rows))


def _context(form: DeliveryForm, paste: PasteForm, rows: list[Row]) -> dict[str, object]:
    day = timezone.localdate()
    problems = problems_of(delivered(rows), day) if rows else ()
    wrong = {problem.row for problem in problems}
    return {
        "title": "Reception",
        "here": "reception",
        "form": form,
        "paste": paste,
        "rows": with_problems(rows, problems),
        "wrong": sorted(row for row in wrong if row),
        "ready": len(rows) - len(wrong),
        "waits": [(row, row.days_late(day)) for row in at(Station.RECEPTION)],
        "newest": submissions()[:8],
        "day": day,
    }
