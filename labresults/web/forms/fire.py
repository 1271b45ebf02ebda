"""Fire assay: a grid of crucibles, and the tray and lots that hold for all of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django import forms

from labresults.actions.fire import Fired
from labresults.models import FireCharge, Lot, TestPortion
from labresults.queries.fire import lots_for_fire

FIGURES = {
    "crucible": "Crucible",
    "flux_g": "Flux, g",
    "collector_mg": "Silver added, mg",
    "button_g": "Button, g",
    "bead_mg": "Bead, mg",
}
_MUST = ("crucible", "flux_g")
_FIELDS = {name: forms.FloatField(required=False, min_value=0) for name in FIGURES} | {
    "crucible": forms.IntegerField(required=False, min_value=1)
}


class _Lots(forms.ModelChoiceField):
    def label_from_instance(self, obj: Lot) -> str:
        return f"{obj.number}, {obj.material.name}"


class TrayForm(forms.Form):
    """What holds for every crucible that is recorded now."""

    tray = forms.CharField(max_length=20)
    flux_lot = _Lots(Lot.objects.none(), label="Flux, by lot", empty_label="choose")
    collector_lot = _Lots(Lot.objects.none(), label="Collector silver, by lot", required=False, empty_label="none")

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        for name in ("flux_lot", "collector_lot"):
            self.fields[name].queryset = lots_for_fire()


@dataclass
class CrucibleRow:
    """One crucible as the page shows it: what was typed, else what is recorded."""

    portion: TestPortion
    charge: FireCharge | None
    texts: dict[str, str]
    is_refired: bool
    typed: bool
    problems: list[str] = field(default_factory=list)

    @property
    def cells(self) -> list[tuple[str, str, str]]:
        """Name, heading and text of each figure."""
        return [(name, heading, self.texts[name]) for name, heading in FIGURES.items()]


class CrucibleGrid:
    """The crucibles of a batch; a row is recorded when it was typed, and only if all that were typed are right."""

    def __init__(
        self,
        portions: Sequence[TestPortion],
        charges: Mapping[int, FireCharge],
        posted: Mapping[str, str] | None = None,
    ) -> None:
        self.rows = [self._row(portion, charges.get(portion.pk), posted) for portion in portions]

    def fired(self) -> list[Fired]:
        """The rows that were typed, as the act takes them. What is no number becomes a problem at its row."""
        return [found for row in self.rows if row.typed and (found := self._fired(row)) is not None]

    @property
    def problem_count(self) -> int:
        """How many rows hold a problem."""
        return sum(bool(row.problems) for row in self.rows)

    def place(self, problems: Sequence[Any]) -> None:
        """Put the problems that the act found under their rows; it counts the typed rows from 1."""
        typed = [row for row in self.rows if row.typed]
        for problem in problems:
            if problem.row and problem.row <= len(typed):
                typed[problem.row - 1].problems.append(f"{problem.what} {problem.what_to_do}".strip())

    def _row(self, portion: TestPortion, charge: FireCharge | None, posted: Mapping[str, str] | None) -> CrucibleRow:
        recorded = _recorded(charge)
        key = f"t{portion.tube}"
        given = posted or {}
        texts = {name: given.get(f"{key}-{name}", recorded.get(name, "")).strip() for name in (*FIGURES, "reason")}
        texts["seen"] = given.get(f"{key}-seen", str(charge.version if charge else 0))
        fired_again = bool(given.get(f"{key}-refired")) if posted is not None else bool(charge and charge.is_refired)
        changed = any(texts[name] != recorded.get(name, "") for name in FIGURES)
        typed = changed or fired_again != bool(charge and charge.is_refired)
        return CrucibleRow(portion, charge, texts, fired_again, typed)

    def _fired(self, row: CrucibleRow) -> Fired | None:
        figures: dict[str, Any] = {}
        for name, heading in FIGURES.items():
            try:
                figures[name] = _FIELDS[name].clean(row.texts[name])
            except forms.ValidationError:
                row.problems.append(f"{heading}: “{row.texts[name]}” is no such number. Write it with a point.")
                continue
            if figures[name] is None and name in _MUST:
                row.problems.append(f"{heading}: it is missing. Give it, or empty the row.")
        if row.problems:
            return None
        seen = int(row.texts["seen"]) if row.texts["seen"].isdigit() else None
        return Fired(
            label=row.portion.label,
            is_refired=row.is_refired,
            reason=row.texts["reason"],
            seen_version=seen,
            **figures,
        )


def _recorded(charge: FireCharge | None) -> dict[str, str]:
    """What is recorded of a crucible, as the grid writes it; a reason belongs to its own recording."""
    if charge is None:
        return {}
    return {name: repr(getattr(charge, name)) for name in FIGURES if getattr(charge, name) is not None}
