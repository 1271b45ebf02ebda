"""Runs: planned, their files of readings taken, evaluated, and what failed accepted by name."""

from functools import partial
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from labresults.actions.evaluation import accept_control, evaluate_run
from labresults.actions.runs import import_readings as take_readings
from labresults.actions.runs import plan_run as plan
from labresults.queries import run_pages, run_planning
from labresults.queries.ore_grade import richer_than_allowed
from labresults.queries.run_answers import answers
from labresults.queries.run_imports import Preview, preview
from labresults.queries.run_lists import run_list as as_csv
from labresults.queries.run_positions import curve_points, position_rows, shown_lines
from labresults.queries.waiting import at
from labresults.terms import Station
from labresults.web import uploads
from labresults.web.acting import answer, attempt
from labresults.web.drawings import run_drawings
from labresults.web.filters.runs import RunFilter
from labresults.web.forms.runs import AcceptForm, EvaluateForm, PlanForm, ReadingFileForm, TakeFileForm
from labresults.web.shared import listing
from labresults.web.tables.runs import RunTable


def runs(request: HttpRequest) -> HttpResponse:
    """Every run, and the way to the next one."""
    samples = sum(row.samples for row in at(Station.RUNS))
    lead = f"{samples} samples wait to be measured or evaluated." if samples else "No sample waits for a run."
    acts = [("Plan a run", reverse("plan-run"))]
    return listing(
        request, RunTable, RunFilter, run_pages.runs(), title="Runs", lead=lead, here=Station.RUNS, acts=acts
    )


def plan_run(request: HttpRequest) -> HttpResponse:
    """What is measured of a method, or measured again of a run; without either, which method."""
    code, again = request.GET.get("method", ""), request.GET.get("again", "")
    factors, cause = run_pages.measure_again(again) if again else ({}, "")
    if not (code or again):
        choices = run_planning.choices(timezone.localdate())
        return render(request, "labresults/runs/choose.html", {"choices": choices, "here": Station.RUNS})
    version = run_planning.version_for(code or run_pages.method_of(again), timezone.localdate())
    batches = run_planning.ready_batches(version, factors, timezone.now())
    form = PlanForm(request.POST or None, batches=batches, initial={"reason": cause})
    planned = _planned(request, form, version) if request.method == "POST" and form.is_valid() else None
    if planned:
        return redirect("run", planned.number)
    added = run_planning.what_is_added(version, form.marked_count)
    context = {"form": form, "version": version, "added": added, "again": again, "here": Station.RUNS}
    return render(request, "labresults/runs/plan.html", context)


def _planned(request: HttpRequest, form: PlanForm, version: Any) -> Any:
    """The run, or None when it was refused; the page then keeps what was chosen."""
    done = partial(plan, by=request.user, at=timezone.now(), method_version=version, **form.cleaned_data)
    return attempt(request, done, "Run {} is planned. Take its run list to the instrument.")


def run(request: HttpRequest, number: str) -> HttpResponse:
    """One run: what failed first; its curves, its positions, and what to do next."""
    version = request.GET.get("evaluation", "")
    page = run_pages.run_page(number, int(version) if version.isdigit() else None)
    is_newest = not page.evaluations or page.evaluation == page.evaluations[0]
    context = {
        "page": page,
        "run": page.run,
        "answers": answers(page) if page.evaluation else [],
        "rows": position_rows(page),
        "lines": shown_lines(page),
        "drawings": run_drawings(page, request.GET.get("line", "")),
        "is_newest": is_newest,
        "richer": richer_than_allowed(page.evaluation) if is_newest else [],
        "points": curve_points(page),
        "here": Station.RUNS,
    }
    return render(request, "labresults/runs/run.html", context)


def run_list(request: HttpRequest, number: str) -> HttpResponse:
    """The run list for the instrument, as CSV."""
    found = run_pages.find_run(number)
    response = HttpResponse(as_csv(found), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{found.number}-run-list.csv"'
    return response


def import_readings(request: HttpRequest, number: str) -> HttpResponse:
    """A file of readings: first what was understood of it, nothing stored; then all of it, or nothing."""
    if "sha256" in request.POST:
        return _take(request, number)
    found = run_pages.find_run(number)
    form = ReadingFileForm(request.POST or None, request.FILES or None)
    seen = _looked_at(form, found) if request.method == "POST" and form.is_valid() else None
    context = {"run": found, "form": form, "seen": seen, "here": Station.RUNS}
    return render(request, "labresults/runs/import.html", context)


def _looked_at(form: ReadingFileForm, found: Any) -> Preview:
    """What was understood of the file; its bytes wait for the second step where nothing speaks against them."""
    file = form.cleaned_data["file"]
    content = file.read()
    seen = preview(found, content, file.name, form.cleaned_data["layout"])
    if seen.can_be_taken:
        uploads.keep(content, timezone.now())
    return seen


def _take(request: HttpRequest, number: str) -> HttpResponse:
    """Take the file that was previewed."""
    form = TakeFileForm(request.POST)
    given = dict(form.cleaned_data) if form.is_valid() else {}
    sha256 = given.pop("sha256", "")
    content = uploads.take(sha256)
    if content is None:
        messages.error(request, "This file is not kept any more. Choose it again.")
        return redirect("import-readings", number)
    found = run_pages.find_run(number)
    done = partial(take_readings, by=request.user, at=timezone.now(), run=found, content=content, **given)
    if attempt(request, done, "The readings of {} are taken.") is None:
        return redirect("import-readings", number)
    uploads.forget(sha256)
    return redirect("run", number)


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
    failed = {failure.outcome.pk: failure.outcome for failure in run_pages.run_page(number).open_failures}
    form = AcceptForm(request.POST, failed=list(failed))
    done = partial(accept_control, by=request.user, at=timezone.now())
    return answer(
        request,
        form,
        lambda given: done(reason=given["reason"], outcomes=[failed[key] for key in given["outcomes"]]),
        "Accepted by name. The reason will stand beside the results.",
        reverse("run", args=[number]),
    )
