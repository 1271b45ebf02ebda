"""The bench: which samples go into a batch, and a grid of what was weighed, made up and diluted."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django import forms
from django.http import QueryDict

from labresults.actions.preparation import NEEDED, Weighed
from labresults.models import Equipment, Lot
from labresults.models.base import choices
from labresults.queries.preparation import Tube, judge_mass
from labresults.terms import Repeat, SolutionKind, State, Verdict

QUANTITIES = {
    "mass_g": "Mass, g",
    "aliquot_mL": "Sample taken, mL",
    "solvent_g": "Solvent, g",
    "volume_mL": "Volume, mL",
}
TEXTS = ("dilution", "moisture_percent", "reason")


class _Lots(forms.ModelMultipleChoiceField):
    """Lots by number and material."""

    def label_from_instance(self, obj: Lot) -> str:
        return f"{obj.number}, {obj.material.name}"


class BeginForm(forms.Form):
    """A batch: samples that wait, or samples again with a cause; reagents; the caution."""

    samples = forms.MultipleChoiceField(required=False)
    again = forms.CharField(
        label="Samples to prepare again", required=False, help_text="Laboratory numbers, parted by spaces."
    )
    repeat = forms.ChoiceField(label="Which repeat", choices=choices(Repeat), initial=Repeat.NONE.value)
    reason = forms.CharField(label="Cause of the repeat", required=False)
    reagents = _Lots(Lot.objects.none(), label="Reagents, by lot", required=False, widget=forms.CheckboxSelectMultiple)
    caution_read = forms.BooleanField(label="I have read the caution, and what it asks for is in place", required=False)

    def __init__(self, *args: Any, waiting: Sequence[Any], lots: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["samples"].choices = [(row.number, row.number) for row in waiting]
        self.fields["reagents"].queryset = lots

    def numbers(self) -> list[str]:
        """Numbers of the samples chosen, those to prepare again last."""
        return [*self.cleaned_data["samples"], *self.cleaned_data["again"].split()]


class BenchForm(forms.Form):
    """What holds for every row that is recorded now."""

    balance = forms.ModelChoiceField(Equipment.objects.none(), label="Balance", required=False, empty_label="none")
    state = forms.ChoiceField(label="State when weighed", choices=choices(State), initial=State.AS_RECEIVED.value)
    usual_volume_mL = forms.FloatField(label="Volume where a row gives none, mL", required=False, min_value=0)
    usual_dilution = forms.CharField(label="Dilution where a row gives none", required=False)
    reason = forms.CharField(label="Reason to weigh on an overdue balance", required=False)
    file = forms.FileField(
        label="Fill the grid from a CSV file",
        required=False,
        help_text="Columns: label, mass g, volume mL, dilution, moisture %, aliquot mL, solvent g.",
    )

    def __init__(self, *args: Any, balances: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["balance"].queryset = balances


@dataclass(frozen=True)
class Cell:
    """One quantity of a tube."""

    name: str
    heading: str
    text: str


@dataclass
class GridRow:
    """One tube as the page shows it: what was typed, else what is recorded."""

    tube: Tube
    texts: dict[str, str]
    typed: bool
    verdict: Verdict
    columns: tuple[str, ...]
    problems: list[str] = field(default_factory=list)

    @property
    def cells(self) -> list[Cell]:
        """The quantities that the method asks for."""
        return [Cell(name, QUANTITIES[name], self.texts[name]) for name in self.columns]

    @property
    def mass(self) -> float | None:
        """The mass as typed, g."""
        return _float(self.texts.get("mass_g", ""))


class WeighingGrid:
    """The grid of a batch. A row is recorded when it was typed, and only if all that were typed are right."""

    def __init__(self, tubes: Sequence[Tube], version: Any, posted: Mapping[str, str] | None = None) -> None:
        self.version = version
        self.columns = NEEDED[SolutionKind(version.solution_kind)]
        self.rows = [self._row(tube, posted or {}) for tube in tubes]

    def fill(self, lines: Sequence[Mapping[str, str]]) -> list[str]:
        """Put lines of a file into the grid by the label of the tube; return what could not be placed, in words."""
        by_label = {row.tube.portion.label: row for row in self.rows}
        lost = []
        for line in lines:
            row = by_label.get(line.get("label", "").strip())
            if row is None:
                lost.append(f"“{line.get('label', '')}” is not a tube of this batch.")
                continue
            row.texts.update({name: line[name].strip() for name in (*self.columns, *TEXTS) if line.get(name)})
            row.typed = True
            row.verdict = judge_mass(_float(row.texts.get("mass_g", "")), self.version)
        return lost

    def weighed(self, usual: Mapping[str, Any]) -> list[Weighed]:
        """The rows that were typed, as the act takes them. What is no number becomes a problem at its row."""
        return [self._weighed(row, usual) for row in self.rows if row.typed]

    @property
    def headings(self) -> list[str]:
        """The quantities that the method asks for, in words."""
        return [QUANTITIES[name] for name in self.columns]

    @property
    def problem_count(self) -> int:
        """How many rows hold a problem."""
        return sum(bool(row.problems) for row in self.rows)

    @property
    def first_problem(self) -> int | None:
        """The first tube with a problem."""
        return next((row.tube.portion.tube for row in self.rows if row.problems), None)

    def place(self, problems: Sequence[Any]) -> None:
        """Put the problems that the act found under their rows; it counts the typed rows from 1."""
        typed = [row for row in self.rows if row.typed]
        for problem in problems:
            if problem.row and problem.row <= len(typed):
                typed[problem.row - 1].problems.append(f"{problem.what} {problem.what_to_do}")

    def _row(self, tube: Tube, posted: Mapping[str, str]) -> GridRow:
        recorded = _recorded(tube)
        names = (*self.columns, *TEXTS)
        texts = {name: posted.get(f"t{tube.portion.tube}-{name}", recorded.get(name, "")) for name in names}
        typed = any(texts[name].strip() != recorded.get(name, "") for name in names)
        return GridRow(tube, texts, typed, judge_mass(_float(texts.get("mass_g", "")), self.version), self.columns)

    def _weighed(self, row: GridRow, usual: Mapping[str, Any]) -> Weighed:
        numbers: dict[str, float | None] = {}
        for name in (*self.columns, "moisture_percent"):
            text = row.texts[name].strip()
            numbers[name] = _float(text)
            if text and numbers[name] is None:
                row.problems.append(f"“{text}” is not a number. Write it with a point and without its unit.")
        if "volume_mL" in self.columns and numbers["volume_mL"] is None and _has_portion(numbers):
            numbers["volume_mL"] = usual.get("usual_volume_mL")
        return Weighed(
            label=row.tube.portion.label,
            dilution=row.texts["dilution"].strip() or usual.get("usual_dilution", ""),
            state=State(usual["state"]),
            reason=row.texts["reason"].strip(),
            **numbers,
        )


def posted_texts(posted: QueryDict) -> dict[str, str]:
    """What was sent, one text a field."""
    return {name: value for name, value in posted.items() if isinstance(value, str)}


def _recorded(tube: Tube) -> dict[str, str]:
    """What is recorded of a tube, as the grid writes it; a reason belongs to its own recording."""
    row = tube.weighing
    if row is None:
        return {}
    found = {name: repr(getattr(row, name)) for name in QUANTITIES if getattr(row, name) is not None}
    if row.moisture_percent is not None:
        found["moisture_percent"] = repr(row.moisture_percent)
    return {**found, "dilution": row.dilution_written}


def _has_portion(numbers: Mapping[str, float | None]) -> bool:
    return numbers.get("mass_g") is not None or numbers.get("aliquot_mL") is not None


def _float(text: str) -> float | None:
    """A number as typed, None where there is none. Words for what is not finite are no numbers."""
    try:
        value = float(text)
    except ValueError:
        return None
    return value if value - value == 0 else None
