"""Derived results: how they are defined, what stands for a sample, and the sets that means are taken over."""

from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from labresults.actions.derived import define_derived, define_sample_set
from labresults.queries import derived_pages, samples
from labresults.web.acting import attempt
from labresults.web.forms.derived import HEADINGS, DefinitionForm, SetForm


def definitions(request: HttpRequest) -> HttpResponse:
    """Every derived result with its formula and source, and a form for one more."""
    return _defining(request, "labresults/derived/definitions.html", {"entries": derived_pages.definitions()}, None)


def definition(request: HttpRequest, code: str) -> HttpResponse:
    """One derived result: its versions, and a form for the next."""
    versions = derived_pages.definition_versions(code)
    return _defining(request, "labresults/derived/definition.html", {"versions": versions}, versions[0])


def _defining(
    request: HttpRequest, template: str, context: dict[str, object], like: derived_pages.Shown | None
) -> HttpResponse:
    form = DefinitionForm(request.POST or None, like=like)
    if form.is_valid():
        do = partial(define_derived, by=request.user, at=timezone.now(), **form.arguments())
        row = attempt(request, do, "{0} stands from now on. Requests that name an older version keep it.")
        if row:
            return redirect("derived-result", row.code)
    context |= {"title": like.row.name if like else "Derived results", "newest": like, "form": form, "here": "methods"}
    return render(request, template, context | {"headings": HEADINGS})


def of_sample(request: HttpRequest, number: str) -> HttpResponse:
    """What is computed for a sample from the results that stand, step by step."""
    item = samples.sample(number)
    known = [one for one in derived_pages.derived_standing(item.submission, item) if one.of.sample]
    context = {"title": f"Computed for {item}", "sample": item, "known": known, "here": "samples"}
    return render(request, "labresults/derived/of_sample.html", context)


def sets(request: HttpRequest, number: str) -> HttpResponse:
    """The sets of a submission, the means over each, and a form for one more."""
    submission = samples.submission(number)
    page = derived_pages.sets_page(submission)
    form = SetForm(request.POST or None, samples=page.samples)
    if form.is_valid():
        do = partial(define_sample_set, by=request.user, at=timezone.now(), submission=submission, **form.cleaned_data)
        if attempt(request, do, "The set {0.name} stands."):
            return redirect("sample-sets", number)
    context = {"title": f"Sets of {submission}", "page": page, "submission": submission, "form": form}
    return render(request, "labresults/derived/sets.html", context | {"here": "submissions"})
