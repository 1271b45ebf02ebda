"""Dishes: a grid of masses before and after heating, and what holds for all of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django import forms

from labresults.actions.mass_losses import Heated
from labresults.models import Equipment
from labresults.models.base import choices
from labresults.queries.mass_losses import Dish
from labresults.terms import EquipmentKind, MassLossKind, State

MASSES = {
    "tare_g": "Empty dish, g",
    "before_g": "With material, g",
    "after_g": "After heating, g",
    "again_g": "Weighed again, g",
}
USUAL_TEMPERATURE = {MassLossKind.MOISTURE: 105.0, MassLossKind.IGNITION: 1000.0}
"""°C: 105 is the usual drying; ignition differs by matrix and must be looked at (common practice, no source)."""

_MASS = forms.FloatField(required=False, min_value=0)


class HeatingForm(forms.Form):
    """What holds for every dish that is recorded now."""

    kind = forms.ChoiceField(label="Determination", choices=choices(MassLossKind))
    temperature_C = forms.FloatField(label="Temperature, °C", min_value=30, max_value=1500)
    balance = forms.ModelChoiceField(
        Equipment.objects.filter(kind=EquipmentKind.BALANCE).order_by("code"), required=False, empty_label="none"
    )
    oven = forms.ModelChoiceField(
        Equipment.objects.filter(kind=EquipmentKind.OVEN).order_by("code"), required=False, empty_label="none"
    )
    state = forms.ChoiceField(label="State of what was put in", choices=choices(State), initial=State.AS_RECEIVED.value)
    scan = forms.CharField(
        label="Scan a sample", required=False, help_text="A laboratory number and Enter puts its dish into the grid.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "data-scan": ""}),
    )  # fmt: skip


@dataclass
class DishRow:
    """One dish as the page shows it."""

    number: str
    dish: Dish | None
    texts: dict[str, str]
    problems: list[str] = field(default_factory=list)

    @property
    def typed(self) -> bool:
        """Whether anything of its masses was typed or is recorded."""
        return any(self.texts[name] for name in MASSES)

    @property
    def cells(self) -> list[tuple[str, str, str]]:
        """Name, heading and text of each mass."""
        return [(name, heading, self.texts[name]) for name, heading in MASSES.items()]


class DishGrid:
    """The grid: dishes that wait and dishes that were scanned; a row is recorded when its masses are there."""

    def __init__(self, dishes: Sequence[Dish], posted: Mapping[str, str] | None = None) -> None:
        self.rows = [self._row(dish, posted or {}) for dish in dishes]

    def heated(self, state: State) -> list[Heated]:
        """The rows that were typed, as the act takes them. What is no number becomes a problem at its row."""
        return [found for row in self.rows if row.typed and (found := self._heated(row, state)) is not None]

    @property
    def problem_count(self) -> int:
        """How many rows hold a problem."""
        return sum(bool(row.problems) for row in self.rows)

    def place(self, problems: Sequence[Any]) -> None:
        """Put the problems that the act found under their rows; it counts the typed rows from 1."""
        typed = [row for row in self.rows if row.typed]
        for problem in problems:
            if problem.row and problem.row <= len(typed):
                typed[problem.row - 1].problems.append(f"{problem.what} {problem.what_to_do}")

    def _row(self, dish: Dish, posted: Mapping[str, str]) -> DishRow:
        number = dish.sample.number
        recorded = _recorded(dish)
        names = (*MASSES, "reason")
        texts = {name: posted.get(f"{number}-{name}", recorded.get(name, "")).strip() for name in names}
        texts["seen"] = posted.get(f"{number}-seen", str(dish.loss.version if dish.loss else 0))
        return DishRow(number, dish, texts)

    def _heated(self, row: DishRow, state: State) -> Heated | None:
        masses: dict[str, float | None] = {}
        for name, heading in MASSES.items():
            try:
                masses[name] = _MASS.clean(row.texts[name])
            except forms.ValidationError:
                row.problems.append(f"{heading}: “{row.texts[name]}” is no mass. Write it in g, with a point.")
                continue
            if masses[name] is None and name != "again_g":
                row.problems.append(f"{heading}: it is missing. Weigh it, or empty the row.")
        if row.problems:
            return None
        return Heated(
            number=row.number, state=state, reason=row.texts["reason"],
            seen_version=int(row.texts["seen"]) if row.texts["seen"].isdigit() else None,
            **masses,  # type: ignore[arg-type]  (the three that must be there are: see above)
        )  # fmt: skip


def _recorded(dish: Dish) -> dict[str, str]:
    """What is recorded of a dish, as the grid writes it; a reason belongs to its own recording."""
    if dish.loss is None:
        return {}
    return {name: repr(getattr(dish.loss, name)) for name in MASSES if getattr(dish.loss, name) is not None}
