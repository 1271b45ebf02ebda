"""Runs: looked at, evaluated, and what failed accepted by name."""

from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from labresults.actions.evaluation import accept_control, evaluate_run
from labresults.queries import run_pages
from labresults.queries.run_compare import compare_evaluations
from labresults.queries.waiting import at
from labresults.terms import Station
from labresults.web.acting import answer
from labresults.web.filters.runs import RunFilter
from labresults.web.forms.runs import AcceptForm, EvaluateForm
from labresults.web.run_asked import asked_of
from labresults.web.run_context import run_context
from labresults.web.shared import acts_of, listing
from labresults.web.tables.runs import RunTable


def runs(request: HttpRequest) -> HttpResponse:
    """Every run, and the way to the next one."""
    samples = sum(row.samples for row in at(Station.RUNS))
    lead = f"{samples} samples wait to be measured or evaluated." if samples else "No sample waits for a run."
    acts = [("Plan a run", reverse("plan-run"))]
    return listing(
        request, RunTable, RunFilter, run_pages.runs(), title="Runs", lead=lead, here=Station.RUNS, acts=acts
    )


def run(request: HttpRequest, number: str) -> HttpResponse:
    """One run: what failed first; its curves, its positions, and what to do next."""
    asked = asked_of(request, number)
    page = run_pages.run_page(number, asked.version)
    return render(request, "labresults/runs/run.html", run_context(page, asked) | {"may": acts_of(request)})


@require_POST
def evaluate(request: HttpRequest, number: str) -> HttpResponse:
    """Evaluate a run, or evaluate it again with a reason."""
    found = run_pages.find_run(number)
    form = EvaluateForm(request.POST, points=run_pages.calibration_points(found))
    done = partial(evaluate_run, by=request.user, at=timezone.now(), run=found)
    return answer(request, form, lambda given: done(**given), "The run is evaluated.", reverse("run", args=[number]))


@require_POST
def accept(request: HttpRequest, number: str) -> HttpResponse:
    """Accept failed control samples by name, with the reason."""
    failed = run_pages.failed_outcomes(number)
    form = AcceptForm(request.POST, failed={key: outcome.criterion_id for key, outcome in failed.items()})
    done = partial(accept_control, by=request.user, at=timezone.now())
    return answer(
        request,
        form,
        lambda given: done(reason=given["reason"], outcomes=[failed[key] for key in given["outcomes"]]),
        "Accepted by name. The reason will stand beside the results.",
        reverse("run", args=[number]),
    )


def compare(request: HttpRequest, number: str) -> HttpResponse:
    """What changed between two evaluations of a run: what went in, curves, verdicts, results."""
    given = (request.GET.get(name, "") for name in ("from", "to"))
    older, newer = (int(word) if word.isdigit() else None for word in given)
    context = {"found": compare_evaluations(number, older, newer), "here": Station.RUNS}
    return render(request, "labresults/runs/compare.html", context)
