"""A batch on the bench: the weighing grid, lots that are added, portions that were lost."""

from datetime import date
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from labresults.actions.batches import add_reagents, discard_portion
from labresults.actions.weighings import record_weighings
from labresults.acts import BadInput, WrongState
from labresults.queries import bench_files, preparation
from labresults.queries.bench_contents import contents_of_controls
from labresults.queries.materials import who_may_override
from labresults.web.acting import answer
from labresults.web.forms.preparation import BenchForm, DiscardForm, ReagentsForm, bench_form
from labresults.web.forms.weighings import WeighingGrid, posted_texts


def batch(request: HttpRequest, number: str) -> HttpResponse:
    """The weighing grid of a batch."""
    day = timezone.localdate()
    on_bench = preparation.batch(number)
    tubes = preparation.tubes_of(on_bench)
    posted = posted_texts(request.POST) if request.method == "POST" else None
    form = bench_form(request.POST or None, request.FILES or None, tubes, on_bench.method_version, day)
    is_sent = posted is not None and form.is_valid()
    grid = WeighingGrid(tubes, on_bench.method_version, posted, form.cleaned_data if is_sent else form.initial)
    content = form.filled_from() if is_sent else b""
    if content:
        _fill(request, grid, content, form.cleaned_data["layout"])
    elif is_sent and _recorded(request, on_bench, grid, form.cleaned_data):
        return redirect("batch", number)
    return render(request, "labresults/batch.html", _context(on_bench, tubes, grid, form, day))


@require_POST
def discard(request: HttpRequest, number: str) -> HttpResponse:
    """Discard a portion that was lost; another one is taken in the same batch."""
    tubes = preparation.tubes_of(preparation.batch(number))
    portions = {tube.portion.tube: tube.portion for tube in tubes}
    form = DiscardForm(request.POST, tubes=tubes)

    def done(given: dict[str, Any]) -> Any:
        portion = portions[given["tube"]]
        return discard_portion(by=request.user, at=timezone.now(), reason=given["reason"], portion=portion)

    said = "It is discarded, and stays on the record. Take {} instead, and label it."
    return answer(request, form, done, said, reverse("batch", args=[number]))


@require_POST
def reagents(request: HttpRequest, number: str) -> HttpResponse:
    """Add lots of reagents to a batch."""
    on_bench = preparation.batch(number)
    form = ReagentsForm(request.POST)

    def done(given: dict[str, Any]) -> Any:
        lots = preparation.lots_numbered(form.numbers())
        return add_reagents(by=request.user, at=timezone.now(), batch=on_bench, lots=lots)

    said = "The lots are on the record of batch {}."
    return answer(request, form, done, said, reverse("batch", args=[number]))


def _context(on_bench: Any, tubes: list[Any], grid: WeighingGrid, form: BenchForm, day: date) -> dict[str, Any]:
    balance = getattr(form, "cleaned_data", {}).get("balance")
    return {
        "batch": on_bench,
        "version": on_bench.method_version,
        "grid": grid,
        "form": form,
        "lost": list(preparation.discarded_of(on_bench)),
        "contents": contents_of_controls(tubes, on_bench.method_version),
        "discard_form": DiscardForm(tubes=tubes),
        "reagents_form": ReagentsForm(),
        "stopped": balance if balance and preparation.is_stopped(balance, day) else None,
        "who_may": who_may_override(),
        "here": "preparation",
    }


def _fill(request: HttpRequest, grid: WeighingGrid, content: bytes, layout: Any) -> None:
    """Put a file or a paste into the grid; what could not be placed is said, and nothing is recorded."""
    lines, problems = bench_files.lines_of(content, layout)
    for words in problems or grid.fill(lines):
        messages.error(request, words)
    if lines and not problems and not grid.typed_count:
        messages.info(request, "All that this file holds is recorded already; nothing is recorded again.")
        return
    messages.info(request, f"{grid.typed_count} tubes are filled in. Nothing of them is recorded yet.")


def _recorded(request: HttpRequest, on_bench: Any, grid: WeighingGrid, given: dict[str, Any]) -> bool:
    """Record the rows that were typed; on a refusal say it at the rows and keep what was typed."""
    rows = grid.weighed(given)
    if not rows:
        messages.warning(request, "No tube was filled in, so nothing was recorded.")
        return False
    if grid.problem_count:
        messages.error(request, f"{grid.problem_count} to correct; nothing was recorded.")
        return False
    when = {"at": timezone.now(), "observed_at": given["read_at"]}
    try:
        made = record_weighings(by=request.user, batch=on_bench, rows=rows, balance=given["balance"], **when)
    except BadInput as refusal:
        grid.place(refusal.problems)
        messages.error(request, str(refusal))
        return False
    except WrongState as refusal:
        messages.info(request, str(refusal))
        return True
    _say_recorded(request, made, len(rows) - len(made))
    return True


def _say_recorded(request: HttpRequest, made: list[Any], known: int) -> None:
    words = f"{len(made)} tube is recorded." if len(made) == 1 else f"{len(made)} tubes are recorded."
    messages.success(request, words + (f" {known} were recorded already with these values." if known else ""))
    if any(row.mass_g is not None and row.balance_id is None for row in made):
        messages.warning(request, "No balance is named with these masses. Name the one that was used.")
