"""Reception: a delivery is typed, pasted, loaded or counted, looked at row by row, and logged whole or not at all."""

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from labresults.queries.lists import submissions
from labresults.queries.request_review import logged_with
from labresults.queries.waiting import at
from labresults.terms import Station
from labresults.web.delivery_desk import DeliveryDesk, asked_of_client


def reception(request: HttpRequest) -> HttpResponse:
    """The counter: log a delivery; nothing is saved until every row is right."""
    desk = DeliveryDesk(request, timezone.now())
    if request.method == "POST":
        submission = desk.do()
        if submission:
            return redirect("submission", submission.number)
    day = timezone.localdate()
    context = {
        "title": "Reception",
        "here": "reception",
        "waits": [(row, row.days_late(day)) for row in at(Station.RECEPTION)],
        "newest": submissions()[:8],
        "day": day,
        **desk.context(),
    }
    return render(request, "labresults/reception.html", context)


def asked(request: HttpRequest) -> HttpResponse:
    """The part of the page that says what is asked for: filled in with the client's usual request where it is empty."""
    return render(request, "labresults/reception_asked.html", asked_of_client(request.GET))


def logged(request: HttpRequest, form_key: str) -> HttpResponse:
    """Whether a form was logged already: the number of its submission, or nothing. For drafts in the browser."""
    submission = logged_with(form_key)
    return JsonResponse({"number": submission.number if submission else None})
