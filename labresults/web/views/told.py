"""Said of a submission: how the laboratory took its samples, and opinions."""

from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from labresults.actions.opinions import state_opinion
from labresults.actions.sampling import record_sampling
from labresults.queries import told
from labresults.queries.samples import submission as find_submission
from labresults.terms import Station
from labresults.web.acting import attempt
from labresults.web.forms.told import OpinionForm, SamplingForm


def sampling(request: HttpRequest, number: str) -> HttpResponse:
    """How the laboratory itself took the samples of a submission."""
    row = find_submission(number)
    form = SamplingForm(row, request.POST or None)
    if form.is_valid():
        do = partial(record_sampling, by=request.user, at=timezone.now(), **form.arguments())
        if attempt(request, do, "The sampling is on record, and on the certificate."):
            return redirect("sampling", number)
    context = {"here": Station.RECEPTION, "submission": row, "records": told.sampling_of(row), "form": form}
    return render(request, "labresults/told/sampling.html", context)


def opinion(request: HttpRequest, number: str) -> HttpResponse:
    """Opinions on a submission, by people authorised for them."""
    row = find_submission(number)
    form = OpinionForm(row, request.POST or None)
    if form.is_valid():
        do = partial(state_opinion, by=request.user, at=timezone.now(), **form.arguments())
        if attempt(request, do, "What stands now is printed on the certificate."):
            return redirect("opinion", number)
    context = {"here": Station.REVIEW, "submission": row, "records": told.opinions_of(row), "form": form}
    return render(request, "labresults/told/opinion.html", context)
