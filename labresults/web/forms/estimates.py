"""What is asked for a limit of a line, and for the next version of a method that takes limits up."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms

from labresults.models import Calibration, LimitEstimate, MethodLine
from labresults.queries.estimates import Coefficient, FoundValue
from labresults.queries.precision import LinePrecision
from labresults.terms import LimitProcedure, LimitQuantity

KEEP = ""
"""What is chosen where a limit stays as it is."""


class LimitForm(forms.Form):
    """A procedure, what it stands on, and a reason; values by hand in the solution unit."""

    procedure = forms.ChoiceField(choices=[(word.value, word.value) for word in LimitProcedure])
    blanks = forms.TypedMultipleChoiceField(
        label="Blanks", coerce=int, required=False, widget=forms.CheckboxSelectMultiple
    )
    spiked = forms.TypedMultipleChoiceField(
        label="Spiked near the limit", coerce=int, required=False, widget=forms.CheckboxSelectMultiple,
        help_text="For 40 CFR 136 only: at least seven, on at least three days.",
    )  # fmt: skip
    calibration = forms.TypedChoiceField(
        label="Curve, for DIN 32645 only", required=False, coerce=int, empty_value=None
    )
    critical = forms.FloatField(label="Critical value by hand", required=False)
    detection = forms.FloatField(label="Detection limit by hand", required=False)
    quantification = forms.FloatField(label="Quantification limit by hand", required=False)
    reason = forms.CharField(
        label="Reason", required=False, strip=True, help_text="Compulsory where a limit is set by hand."
    )

    def __init__(
        self,
        *args: Any,
        blanks: Sequence[FoundValue],
        spiked: Sequence[FoundValue],
        curves: Sequence[Calibration],
        unit: str,
        **options: Any,
    ) -> None:
        super().__init__(*args, **options)
        self._curves = {curve.pk: curve for curve in curves}
        self.fields["blanks"].choices = [(each.key, _said(each, unit)) for each in blanks]  # type: ignore[attr-defined]
        self.fields["spiked"].choices = [(each.key, _said(each, unit)) for each in spiked]  # type: ignore[attr-defined]
        named = [(c.pk, f"{c.evaluation.run}, {c.count} points, block {c.block}") for c in curves]
        self.fields["calibration"].choices = [("", "none"), *named]  # type: ignore[attr-defined]
        for name in ("critical", "detection", "quantification"):
            self.fields[name].label = f"{self.fields[name].label}, {unit}"

    def arguments(self) -> dict[str, Any]:
        """What the act takes."""
        given = self.cleaned_data
        by_hand = {
            LimitQuantity.CRITICAL: given["critical"],
            LimitQuantity.DETECTION: given["detection"],
            LimitQuantity.QUANTIFICATION: given["quantification"],
        }
        return {
            "procedure": LimitProcedure(given["procedure"]),
            "blanks": given["blanks"],
            "spiked": given["spiked"],
            "calibration": self._curves.get(given["calibration"]),
            "by_hand": {quantity: value for quantity, value in by_hand.items() if value is not None},
            "reason": given["reason"],
        }


class _NextVersionForm(forms.Form):
    """From when the next version is valid, and why; ticks say what it takes up."""

    valid_from = forms.DateField(label="Valid from", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    reason = forms.CharField(label="Why the method changes", strip=True)

    def __init__(self, *args: Any, today: date, **options: Any) -> None:
        super().__init__(*args, **options)
        self.initial.setdefault("valid_from", today)

    @property
    def has_choices(self) -> bool:
        """Whether there is anything to take up."""
        return len(self.fields) > 2

    def _given(self, changes: dict[str, dict[str, Any]]) -> dict[str, Any]:
        return {
            "valid_from": self.cleaned_data["valid_from"],
            "reason": self.cleaned_data["reason"],
            "line_changes": changes,
        }


class TakeLimitsForm(_NextVersionForm):
    """For each line, which estimate becomes its detection limit and which its quantification limit."""

    def __init__(
        self, *args: Any, lines: Sequence[MethodLine], estimates: Sequence[LimitEstimate], **options: Any
    ) -> None:
        super().__init__(*args, **options)
        self._values = {str(row.pk): row.value for row in estimates}
        self._lines = [line for line in lines if any(row.line_id == line.line_id for row in estimates)]
        for line in self._lines:
            own = [row for row in estimates if row.line_id == line.line_id]
            for field, wanted in (
                ("detection_limit", {LimitQuantity.CRITICAL, LimitQuantity.DETECTION}),
                ("quantification_limit", {LimitQuantity.QUANTIFICATION}),
            ):
                choices = [(str(e.pk), f"{e.value:.4g} {e.unit}, {e.procedure}") for e in own if e.quantity in wanted]
                self.fields[f"{field}-{line.pk}"] = forms.ChoiceField(
                    label=f"{line.line}, {field.replace('_', ' ')}",
                    required=False,
                    choices=[(KEEP, f"stays at {getattr(line, field):.4g}"), *choices],
                )

    def arguments(self) -> dict[str, Any]:
        """What the act takes: only limits that change."""
        changes: dict[str, dict[str, float]] = {}
        for line in self._lines:
            for field in ("detection_limit", "quantification_limit"):
                chosen = self.cleaned_data[f"{field}-{line.pk}"]
                if chosen != KEEP:
                    changes.setdefault(str(line.line), {})[field] = self._values[chosen]
        return self._given(changes)


class TakePrecisionForm(_NextVersionForm):
    """For each line, whether its precision and its bias become those of the next version."""

    def __init__(self, *args: Any, found: Sequence[LinePrecision], **options: Any) -> None:
        super().__init__(*args, **options)
        self._values: dict[str, tuple[str, str, float]] = {}
        for each in found:
            for field, words, value in (
                ("u_precision", "precision", each.u_precision),
                ("u_bias", "bias", each.u_bias),
            ):
                if value is not None:
                    name = f"{field}-{each.line.pk}"
                    self._values[name] = (str(each.line.line), field, value)
                    label = f"{each.line.line}, {words}: {100 * value:.3g} %"
                    self.fields[name] = forms.BooleanField(label=label, required=False)

    def arguments(self) -> dict[str, Any]:
        """What the act takes: only what is ticked."""
        changes: dict[str, dict[str, float]] = {}
        for name, (line, field, value) in self._values.items():
            if self.cleaned_data[name]:
                changes.setdefault(line, {})[field] = value
        return self._given(changes)


class TakeInterferencesForm(_NextVersionForm):
    """For each line and element, whether the coefficient becomes that of the next version."""

    def __init__(self, *args: Any, found: Sequence[Coefficient], **options: Any) -> None:
        super().__init__(*args, **options)
        self._found = {f"take-{each.row.pk}": each for each in found if each.is_newest}
        for name, each in self._found.items():
            label = f"{each.row.line}: {each.row.element_id} × {each.row.apparent:.4g}, now {each.now}"
            self.fields[name] = forms.BooleanField(label=label, required=False)

    def arguments(self) -> dict[str, Any]:
        """What the act takes: the whole set of a line with what is ticked."""
        changes: dict[str, dict[str, Any]] = {}
        for name, each in self._found.items():
            if self.cleaned_data[name]:
                own = changes.setdefault(str(each.row.line), {"interferences": dict(each.line.interferences)})
                own["interferences"][each.row.element_id] = each.row.apparent
        return self._given(changes)


def _said(value: FoundValue, unit: str) -> str:
    return f"{value.found:.4g} {unit}: {value.run}, position {value.number} ({value.role}), {value.on:%d %b %Y}"
