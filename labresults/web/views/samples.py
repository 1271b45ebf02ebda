"""A submission, a sample, and what a client's people see of theirs."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from labresults.queries import samples
from labresults.queries.waiting import station_of_submission
from labresults.web.shared import for_clients


def submission(request: HttpRequest, number: str) -> HttpResponse:
    """One delivery: what was asked for, its samples, where they stand, its certificates."""
    delivery = samples.submission(number)
    rows = list(samples.samples_of(delivery))
    context = {
        "submission": delivery,
        "requests": samples.requests_of(delivery),
        "samples": rows,
        "matrices": samples.count_matrices(rows),
        "waits": station_of_submission(number),
        "certificates": samples.certificates_of(delivery),
        "events": samples.said_of(("submission", number)),
        "day": timezone.localdate(),
        "here": "submissions",
    }
    return render(request, "labresults/submission.html", context)


def sample(request: HttpRequest, number: str) -> HttpResponse:
    """One sample's whole story, from the counter to the client."""
    item = samples.sample(number)
    before, after = samples.neighbours(item)
    context = {
        "sample": item,
        "before": before,
        "after": after,
        "requests": samples.requests_of(item.submission),
        "portions": samples.portions_of(item),
        "positions": samples.positions_of(item),
        "candidates": samples.candidates_of(item),
        "in_words": samples.in_words(item),
        "custody": samples.custody_of(item),
        "certificates": samples.certificates_of(item.submission),
        "events": samples.said_of(("sample", number), ("submission", item.submission.number)),
        "here": "samples",
    }
    return render(request, "labresults/sample.html", context)


@for_clients
def my_submissions(request: HttpRequest) -> HttpResponse:
    """What a client's people see: their own submissions and certificates, and nobody else's."""
    context = {"client": request.user.client, "submissions": samples.of_client(request.user.client_id)}
    return render(request, "labresults/my_submissions.html", context)
