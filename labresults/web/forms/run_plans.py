"""What is asked for the plan of a run."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf
from typing import Any

from django import forms

from labresults.models import Equipment, TestPortion
from labresults.queries.run_planning import Ready, ReadyBatch, spectrometers
from labresults.terms import Repeat, Role


@dataclass(frozen=True)
class PlanRow:
    """One test portion as the page shows it: what was typed stands before what was proposed."""

    portion: TestPortion
    measured: bool
    marked: bool
    dilution: str
    warning: str
    kind: Repeat | None
    cause: str
    asked: bool  # an evaluation asks for it
    beside: frozenset[Role]


class PlanForm(forms.Form):
    """Portions to measure, on which instrument, at which dilution made there, and why."""

    instrument = forms.ModelChoiceField(queryset=Equipment.objects.none(), label="Instrument")
    reason = forms.CharField(
        label="Reason",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Why a rule of the run list may be broken, and the cause of each repeat that has none of its own.",
    )
    form_key = forms.CharField(widget=forms.HiddenInput, required=False, max_length=40)

    def __init__(self, *args: Any, batches: Sequence[ReadyBatch], **options: Any) -> None:
        super().__init__(*args, **options)
        self.instruments = list(spectrometers())
        self.fields["instrument"].queryset = spectrometers()  # type: ignore[attr-defined]
        self.fields["instrument"].choices = [(item.pk, str(item)) for item in self.instruments]  # type: ignore[attr-defined]
        if self.instruments:
            self.initial.setdefault("instrument", self.instruments[0].pk)
        rows = [(batch.batch, [self._row(ready) for ready in batch.portions]) for batch in batches]
        self.asked = [row for _, some in rows for row in some if row.asked]
        self.batches = [(batch, left) for batch, some in rows if (left := [row for row in some if not row.asked])]
        self.marked = [row for _, some in rows for row in some if row.marked]

    @property
    def chosen_instrument(self) -> Equipment | None:
        """The instrument that is chosen now, or the first; None where there is none."""
        wanted = str(self.data.get("instrument", "")) if self.is_bound else str(self.initial.get("instrument", ""))
        found = [item for item in self.instruments if str(item.pk) == wanted]
        return found[0] if found else next(iter(self.instruments), None)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.marked:
            self.add_error(None, "Mark at least one test solution.")
        for row in self.marked:
            if factor_of(row.dilution) is None:
                label = row.portion.label
                self.add_error(None, f"{label}: the dilution is a factor of at least 1; {row.dilution} is none.")
        return cleaned

    def dilutions(self) -> dict[int, float]:
        """Factors other than 1, by key of the portion; what is no factor is left out."""
        found = {row.portion.pk: factor_of(row.dilution) for row in self.marked}
        return {key: factor for key, factor in found.items() if factor not in (None, 1.0)}  # type: ignore[misc]

    def causes(self) -> dict[int, str]:
        """The own cause of each repeat that has one, by key of the portion."""
        return {row.portion.pk: row.cause.strip() for row in self.marked if row.cause.strip()}

    def kinds(self) -> dict[int, Repeat]:
        """How each of what is asked for is measured again, by key of the portion."""
        return {row.portion.pk: row.kind for row in self.marked if row.kind}

    def beside(self) -> dict[int, frozenset[Role]]:
        """What is made at the instrument of each of what is asked for once more, by key of the portion."""
        return {row.portion.pk: row.beside for row in self.marked if row.beside}

    def _row(self, ready: Ready) -> PlanRow:
        key = str(ready.portion.pk)
        return PlanRow(
            portion=ready.portion,
            measured=ready.measured,
            marked=key in self._ticked if self.is_bound else ready.chosen,
            dilution=str(self._typed.get(f"dilution-{key}", f"{ready.factor:g}")).strip() or "1",
            warning=ready.warning,
            kind=ready.kind,
            cause=str(self._typed.get(f"cause-{key}", "" if self.is_bound else ready.cause)),
            asked=ready.kind is not None or bool(ready.cause),
            beside=ready.beside,
        )

    @property
    def _typed(self) -> Mapping[str, Any]:
        return self.data

    @property
    def _ticked(self) -> frozenset[str]:
        if not hasattr(self, "_ticked_once"):
            self._ticked_once = frozenset(self.data.getlist("portion"))  # type: ignore[union-attr]
        return self._ticked_once


def factor_of(written: str) -> float | None:
    """A dilution as written, a factor of at least 1; None for anything else."""
    try:
        factor = float(written.strip() or "1")
    except ValueError:
        return None
    return factor if 1.0 <= factor < inf else None
