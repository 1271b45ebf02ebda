"""Runs: planned, their files of readings taken, evaluated, and what failed accepted by name."""

from functools import partial

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
from labresults.queries.run_answers import answers
from labresults.queries.run_imports import preview
from labresults.queries.run_lists import run_list as as_csv
from labresults.queries.run_positions import curve_points, position_rows
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
    """Choose a method; then what of it is measured, on which instrument, at which dilution."""
    today, again = timezone.localdate(), request.GET.get("again", "")
    factors, cause = run_pages.measure_again(again) if again else ({}, "")
    code = request.GET.get("method", "") or (run_pages.find_run(again).method_version.method.code if again else "")
    if not code:
        return render(
            request, "labresults/runs/choose.html", {"choices": run_planning.choices(today), "here": Station.RUNS}
        )
    version = run_planning.version_for(code, today)
    batches = run_planning.ready_batches(version, factors)
    form = PlanForm(request.POST or None, batches=batches, initial={"reason": cause})
    if request.method == "POST" and form.is_valid():
        done = partial(plan, by=request.user, at=timezone.now(), method_version=version, **form.cleaned_data)
        run = attempt(request, done, "Run {} is planned. Take its run list to the instrument.")
        if run:
            return redirect("run", run.number)
    return render(request, "labresults/runs/plan.html", _plan_shown(form, version, batches, again))


def _plan_shown(
    form: PlanForm, version: object, batches: list[run_planning.ReadyBatch], again: str
) -> dict[str, object]:
    """What the page of a plan shows; what was typed stands before what was proposed."""
    marked = set(form.data.getlist("portion")) if form.is_bound else None  # type: ignore[union-attr]
    rows = [
        (
            batch,
            [
                (ready, ready.chosen if marked is None else str(ready.portion.pk) in marked, _written(form, ready))
                for ready in batch.portions
            ],
        )
        for batch in batches
    ]
    chosen = sum(is_marked for _, portions in rows for _, is_marked, _ in portions)
    added = run_planning.what_is_added(version, chosen)  # type: ignore[arg-type]
    return {
        "form": form, "version": version, "batches": rows, "chosen": chosen, "added": added, "again": again,
        "here": Station.RUNS,
    }  # fmt: skip


def _written(form: PlanForm, ready: run_planning.ReadyBatch) -> str:
    return str(form.data.get(f"dilution-{ready.portion.pk}", f"{ready.factor:g}"))  # type: ignore[attr-defined]


def run(request: HttpRequest, number: str) -> HttpResponse:
    """One run: what failed first; its curves, its positions, and what to do next."""
    version = request.GET.get("evaluation", "")
    page = run_pages.run_page(number, int(version) if version.isdigit() else None)
    context = {
        "page": page,
        "run": page.run,
        "answers": answers(page) if page.evaluation else [],
        "rows": position_rows(page),
        "drawings": run_drawings(page, request.GET.get("line", "")),
        "is_newest": not page.evaluations or page.evaluation == page.evaluations[0],
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
    found = run_pages.find_run(number)
    if "sha256" in request.POST:
        return _take(request, number)
    form = ReadingFileForm(request.POST or None, request.FILES or None)
    seen = None
    if request.method == "POST" and form.is_valid():
        file = form.cleaned_data["file"]
        content = file.read()
        seen = preview(found, content, file.name, form.cleaned_data["layout"])
        if seen.can_be_taken:
            uploads.keep(content, timezone.now())
    context = {"run": found, "form": form, "seen": seen, "here": Station.RUNS}
    return render(request, "labresults/runs/import.html", context)


def _take(request: HttpRequest, number: str) -> HttpResponse:
    """Take the file that was previewed."""
    form = TakeFileForm(request.POST)
    if not form.is_valid():
        messages.error(request, "The preview cannot be used any more. Choose the file again.")
        return redirect("import-readings", number)
    given = dict(form.cleaned_data)
    sha256 = given.pop("sha256")
    content = uploads.take(sha256)
    if content is None:
        messages.error(request, "The file is not kept any more. Choose it again.")
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
