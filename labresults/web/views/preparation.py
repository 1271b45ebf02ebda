"""Preparation: what waits, a batch begun with its control samples, and the weighing grid."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from labresults.actions.preparation import begin_batch, record_weighings
from labresults.acts import BadInput
from labresults.queries import preparation as bench
from labresults.terms import Repeat
from labresults.web.forms.preparation import BeginForm, BenchForm, WeighingGrid, posted_texts


def preparation(request: HttpRequest) -> HttpResponse:
    """What waits for a batch, and the batches that lie on the bench."""
    day = timezone.localdate()
    context = {
        "title": "The bench",
        "here": "preparation",
        "waits": [(row, max(0, (day - row.due_on).days)) for row in bench.to_begin(day)],
        "batches": bench.open_batches(),
        "day": day,
    }
    return render(request, "labresults/preparation.html", context)


def begin(request: HttpRequest, code: str) -> HttpResponse:
    """Begin a batch of a method: its samples, its reagents, its caution."""
    day = timezone.localdate()
    version = bench.version_in_force(code, day)
    if version is None:
        raise Http404(f"No version of {code} is valid today.")
    waiting = list(bench.samples_to_begin(code)[:500])
    form = BeginForm(request.POST or None, waiting=waiting, lots=bench.usable_reagents(day))
    if request.method == "POST" and form.is_valid():
        batch = _begun(request, form, version)
        if batch is not None:
            messages.success(request, f"{batch} is begun. Its control samples are put in.")
            return redirect("batch", batch.number)
    chosen = request.POST.getlist("samples") or [row.number for row in waiting[: version.batch_size]]
    context = {
        "form": form,
        "version": version,
        "waiting": [(row, row.number in chosen) for row in waiting],
        "here": "preparation",
    }
    return render(request, "labresults/begin_batch.html", context)


def batch(request: HttpRequest, number: str) -> HttpResponse:
    """The weighing grid of a batch."""
    on_bench = bench.batch(number)
    version = on_bench.method_version
    usual = {"usual_volume_mL": version.volume_mL, "usual_dilution": version.dilution}
    form = BenchForm(request.POST or None, request.FILES or None, balances=bench.balances(), initial=usual)
    posted = posted_texts(request.POST) if request.method == "POST" else None
    grid = WeighingGrid(bench.tubes_of(on_bench), version, posted)
    if request.method == "POST" and form.is_valid():
        if form.cleaned_data["file"]:
            _fill(request, grid, form.cleaned_data["file"].read())
        elif _recorded(request, on_bench, grid, form.cleaned_data):
            return redirect("batch", number)
    context = {"batch": on_bench, "version": version, "grid": grid, "form": form, "here": "preparation"}
    return render(request, "labresults/batch.html", context)


def _begun(request: HttpRequest, form: BeginForm, version: Any) -> Any:
    """The batch, or None when it was refused; the page then says why and keeps what was chosen."""
    given = form.cleaned_data
    try:
        return begin_batch(
            by=request.user,
            at=timezone.now(),
            reason=given["reason"],
            method_version=version,
            samples=bench.samples_numbered(form.numbers()),
            caution_read=given["caution_read"],
            reagents=list(given["reagents"]),
            repeat=Repeat(given["repeat"]),
        )
    except BadInput as refusal:
        messages.error(request, str(refusal))
        return None


def _fill(request: HttpRequest, grid: WeighingGrid, content: bytes) -> None:
    """Put a file into the grid; one problem, and nothing of it is put there."""
    lines, problems = bench.lines_of_file(content)
    for words in problems or grid.fill(lines):
        messages.error(request, words)
    filled = sum(row.typed for row in grid.rows)
    messages.info(request, f"{filled} tubes are filled in. Nothing of them is recorded yet.")


def _recorded(request: HttpRequest, on_bench: Any, grid: WeighingGrid, given: dict[str, Any]) -> bool:
    """Record the rows that were typed; on a refusal say it at the rows and keep what was typed."""
    rows = grid.weighed(given)
    if not rows:
        messages.warning(request, "No tube was filled in, so nothing was recorded.")
        return False
    if grid.problem_count:
        messages.error(request, f"{grid.problem_count} to correct; nothing was recorded.")
        return False
    try:
        record_weighings(
            by=request.user,
            at=timezone.now(),
            reason=given["reason"],
            batch=on_bench,
            rows=rows,
            balance=given["balance"],
        )
    except BadInput as refusal:
        grid.place(refusal.problems)
        messages.error(request, str(refusal))
        return False
    messages.success(request, f"{len(rows)} tubes are recorded.")
    return True
