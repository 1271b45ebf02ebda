"""Moisture and loss on ignition: dishes weighed before and after heating."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from labresults.actions.mass_losses import record_mass_losses
from labresults.acts import BadInput, WrongState
from labresults.queries import mass_losses as bench
from labresults.terms import MassLossKind, State
from labresults.web.forms.mass_losses import USUAL_TEMPERATURE, DishGrid, HeatingForm


def mass_losses(request: HttpRequest) -> HttpResponse:
    """The dishes that wait for their moisture, and any others that are scanned."""
    kind = MassLossKind(request.POST.get("kind") or request.GET.get("kind") or MassLossKind.MOISTURE)
    form = HeatingForm(request.POST or None, initial={"kind": kind.value, "temperature_C": USUAL_TEMPERATURE[kind]})
    numbers = request.POST.getlist("number") + request.POST.get("scan", "").split()
    if request.method == "GET":
        wanted = bench.waiting_for_moisture() if kind == MassLossKind.MOISTURE else []
        numbers = [dish.sample.number for dish in wanted] + request.GET.getlist("number")
    dishes = bench.dishes(kind, numbers)
    known = {dish.sample.number for dish in dishes}
    for number in dict.fromkeys(numbers):
        if number not in known:
            messages.error(request, f"There is no sample “{number}”. Scan its label again.")
    grid = DishGrid(dishes, request.POST if request.method == "POST" else None)
    if "record" in request.POST and form.is_valid() and _recorded(request, form, grid, kind):
        return redirect("mass-losses")
    context = {
        "title": "Moisture and loss on ignition",
        "here": "preparation",
        "form": form,
        "grid": grid,
        "kind": kind,
    }
    return render(request, "labresults/mass_losses.html", context)


def _recorded(request: HttpRequest, form: HeatingForm, grid: DishGrid, kind: MassLossKind) -> bool:
    """Record the dishes that were typed; on a refusal say it at the rows and keep what was typed."""
    given = form.cleaned_data
    rows = grid.heated(State(given["state"]))
    if grid.problem_count:
        messages.error(request, f"{grid.problem_count} to correct; nothing was recorded.")
        return False
    try:
        made = record_mass_losses(
            by=request.user, at=timezone.now(), kind=kind, rows=rows, temperature_C=given["temperature_C"],
            balance=given["balance"], oven=given["oven"],
        )  # fmt: skip
    except (BadInput, WrongState) as refusal:
        grid.place(getattr(refusal, "problems", ()))
        messages.error(request, str(refusal))
        return False
    messages.success(request, "1 dish is recorded." if len(made) == 1 else f"{len(made)} dishes are recorded.")
    return True
