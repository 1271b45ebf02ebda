"""Fire assay: the crucibles of a batch, their buttons and beads."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from labresults.actions.fire import record_fire_charges
from labresults.acts import BadInput, WrongState
from labresults.queries import fire as furnace
from labresults.queries import preparation as bench
from labresults.web.forms.fire import CrucibleGrid, TrayForm


def fire(request: HttpRequest, number: str) -> HttpResponse:
    """The crucibles of a batch: what was charged, the button, the bead."""
    batch = bench.batch(number)
    form = TrayForm(request.POST or None, initial=furnace.tray_of(batch))
    posted = request.POST if request.method == "POST" else None
    charges = furnace.charges_of(batch)
    grid = CrucibleGrid(furnace.portions_of(batch), charges, posted)
    if request.method == "POST" and form.is_valid() and _recorded(request, batch, form, grid):
        return redirect("fire", number)
    context = {"batch": batch, "version": batch.method_version, "form": form, "grid": grid, "here": "preparation"}
    context["beads"] = furnace.beads_by_mass(batch, charges)
    return render(request, "labresults/fire.html", context)


def _recorded(request: HttpRequest, batch: object, form: TrayForm, grid: CrucibleGrid) -> bool:
    """Record the crucibles that were typed; on a refusal say it at the rows and keep what was typed."""
    rows = grid.fired()
    if grid.problem_count:
        messages.error(request, f"{grid.problem_count} to correct; nothing was recorded.")
        return False
    try:
        made = record_fire_charges(by=request.user, at=timezone.now(), batch=batch, rows=rows, **form.cleaned_data)
    except (BadInput, WrongState) as refusal:
        grid.place(getattr(refusal, "problems", ()))
        messages.error(request, str(refusal))
        return False
    messages.success(request, "1 crucible is recorded." if len(made) == 1 else f"{len(made)} crucibles are recorded.")
    return True
