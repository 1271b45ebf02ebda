"""What is asked for a run: its plan, its file of readings, its evaluation, a failed control sample accepted by name."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django import forms

from labresults.models import Equipment, Layout, TestPortion
from labresults.queries.run_imports import layouts
from labresults.queries.run_planning import Ready, ReadyBatch, spectrometers


def _moment() -> forms.DateTimeInput:
    """A field for a day and time, with the browser's own calendar."""
    return forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")


@dataclass(frozen=True)
class PlanRow:
    """One test portion as the page shows it: what was typed stands before what was proposed."""

    portion: TestPortion
    measured: bool
    marked: bool
    dilution: str
    warning: str


class PlanForm(forms.Form):
    """Portions to measure, on which instrument, at which dilution made there, and why."""

    instrument = forms.ModelChoiceField(queryset=Equipment.objects.none(), label="Instrument")
    reason = forms.CharField(
        label="Reason",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="The cause of a repeat, before it is measured; or why an overdue instrument is used.",
    )

    def __init__(self, *args: Any, batches: Sequence[ReadyBatch], **options: Any) -> None:
        super().__init__(*args, **options)
        instruments = spectrometers()
        self.fields["instrument"].queryset = instruments  # type: ignore[attr-defined]
        self.initial.setdefault("instrument", instruments.first())
        self.batches = [(batch.batch, [self._row(ready) for ready in batch.portions]) for batch in batches]
        self.marked_count = sum(row.marked for _, rows in self.batches for row in rows)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        chosen = [row.portion for _, rows in self.batches for row in rows if row.marked]
        if not chosen:
            self.add_error(None, "Mark at least one test solution.")
        dilutions = {portion.pk: self._factor(portion) for portion in chosen}
        cleaned["portions"] = chosen
        cleaned["dilutions"] = {key: factor for key, factor in dilutions.items() if factor != 1.0}
        return cleaned

    def _row(self, ready: Ready) -> PlanRow:
        key = str(ready.portion.pk)
        marked = key in self.data.getlist("portion") if self.is_bound else ready.chosen  # type: ignore[union-attr]
        written = str(self.data.get(f"dilution-{key}", f"{ready.factor:g}"))
        return PlanRow(ready.portion, ready.measured, marked, written, ready.warning)

    def _factor(self, portion: TestPortion) -> float:
        written = str(self.data.get(f"dilution-{portion.pk}", "")).strip() or "1"
        try:
            factor = float(written)
        except ValueError:
            factor = 0.0
        if not 1.0 <= factor < float("inf"):
            self.add_error(None, f"{portion.label}: the dilution is a factor of at least 1; {written} is none.")
            return 1.0
        return factor


class ReadingFileForm(forms.Form):
    """A file of readings, how it is laid out, and when it was measured."""

    file = forms.FileField(label="File of readings, as the instrument wrote it")
    layout = forms.ModelChoiceField(queryset=Layout.objects.none(), label="Layout")
    measured_from = forms.DateTimeField(label="Measured from", widget=_moment())
    measured_to = forms.DateTimeField(label="Measured to", widget=_moment())

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["layout"].queryset = layouts()  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        start, end = cleaned.get("measured_from"), cleaned.get("measured_to")
        if start and end and end < start:
            self.add_error("measured_to", "The end lies before the beginning.")
        return cleaned


class TakeFileForm(ReadingFileForm):
    """The same file once more, by its hash: it was previewed, and is taken now."""

    file = None
    sha256 = forms.RegexField(r"^[0-9a-f]{64}$", label="File")
    filename = forms.CharField(max_length=255, label="Name of the file")


class EvaluateForm(forms.Form):
    """An evaluation; points left out are written `position|line`."""

    reason = forms.CharField(label="Reason", required=False, strip=True)
    left_out = forms.MultipleChoiceField(label="Points left out", required=False)

    def __init__(self, *args: Any, points: Sequence[str], **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["left_out"].choices = [(point, point) for point in points]  # type: ignore[attr-defined]

    def clean_left_out(self) -> list[tuple[int, str]]:
        marked = (point.partition("|") for point in self.cleaned_data["left_out"])
        return [(int(number), line) for number, _, line in marked]


class AcceptForm(forms.Form):
    """Failed control samples accepted by name."""

    reason = forms.CharField(label="Why the results may stand all the same", strip=True)
    outcomes = forms.TypedMultipleChoiceField(label="Failed control samples", coerce=int)

    def __init__(self, *args: Any, failed: Sequence[int], **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["outcomes"].choices = [(key, key) for key in failed]  # type: ignore[attr-defined]
