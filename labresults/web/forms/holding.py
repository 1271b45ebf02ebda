"""A holding time that is to be entered."""

from typing import Any

from django import forms

from labresults.models import Element, Matrix

UNITS = [("24", "days"), ("1", "hours")]


class HoldingTimeForm(forms.Form):
    """How long an element of a matrix may wait, and where that is from."""

    matrix = forms.ModelChoiceField(Matrix.objects.order_by("name"), empty_label="choose")
    element = forms.ModelChoiceField(
        Element.objects.order_by("symbol"), required=False, empty_label="every one that has no time of its own"
    )
    amount = forms.FloatField(label="From sampling to measurement", min_value=0.0)
    unit = forms.ChoiceField(label="In", choices=UNITS)
    source = forms.CharField(
        label="Source", max_length=200, help_text="A standard and its table, or: common practice, no source."
    )
    reason = forms.CharField(label="Why it is entered", required=False)

    def arguments(self) -> dict[str, Any]:
        """What the act takes."""
        given = {name: self.cleaned_data[name] for name in ("matrix", "element", "source", "reason")}
        return {**given, "hours": self.cleaned_data["amount"] * float(self.cleaned_data["unit"])}
