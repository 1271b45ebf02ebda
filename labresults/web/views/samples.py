"""A submission and a sample: everything that is known of them."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from labresults.queries import attachments, custody, mass_losses, samples
from labresults.queries.derived_pages import derived_of_sample
from labresults.queries.issued import issues_of_sample
from labresults.queries.waiting import station_of_submission
from labresults.web.forms.attachments import AttachForm


def submission(request: HttpRequest, number: str) -> HttpResponse:
    """One delivery: what was asked for, its samples, where they stand and lie, what was corrected, its certificates."""
    delivery = samples.submission(number)
    versions = samples.versions_of(delivery)
    rows, some_own = samples.samples_asked(delivery, versions[0])
    context = {
        "submission": delivery, "requests": versions, "samples": rows, "matrices": samples.count_matrices(rows),
        "some_own": some_own, "waits": station_of_submission(number),
        "struck": samples.struck_of(delivery), "corrections": samples.corrections_in(delivery),
        "concerns": samples.concerns_of(delivery), "places": custody.places_of(delivery),
        "kept_until": custody.kept_until(delivery, versions[0]), "attachments": attachments.attached_to(delivery),
        "attach": AttachForm(), "certificates": samples.certificates_of(delivery),
        "events": samples.said_of(("submission", number)), "day": timezone.localdate(), "here": "submissions",
    }  # fmt: skip
    return render(request, "labresults/submission.html", context)


def sample(request: HttpRequest, number: str) -> HttpResponse:
    """One sample's whole story, from the counter to the client."""
    item = samples.sample(number)
    wanted, candidates, words = samples.asked_of_sample(item), samples.candidates_of(item), samples.in_words(item)
    context = {
        "sample": item, "wanted": wanted,
        "corrections": samples.corrections_of(item), "concerns": samples.concerns_of_sample(item),
        "portions": samples.portions_of(item), "positions": samples.positions_of(item),
        "candidates": candidates, "in_words": words,
        "derived": derived_of_sample(item, wanted.request, candidates, words),
        "mass_losses": mass_losses.of_sample(item),
        "custody": custody.held(item), "attachments": attachments.attached_to_sample(item), "attach": AttachForm(),
        "certificates": issues_of_sample(item),
        "events": samples.said_of(("sample", number), ("submission", item.submission.number)), "here": "samples",
    }  # fmt: skip
    return render(request, "labresults/sample.html", context)
