"""A rule of plausibility that is to be entered."""

import re
from typing import Any

from django import forms

from labresults.models import Matrix
from labresults.terms import PlausibilityKind


class PlausibilityForm(forms.Form):
    """What must fit together in samples of a matrix, between which bounds, and where they are from."""

    name = forms.CharField(
        label="Name", max_length=60, help_text="A rule of the same name stands instead of the older."
    )
    kind = forms.ChoiceField(label="What must fit", choices=[(kind.value, kind.value) for kind in PlausibilityKind])
    matrix = forms.ModelChoiceField(Matrix.objects.order_by("name"), label="Matrix", required=False, empty_label="any")
    elements = forms.CharField(
        label="Elements",
        required=False,
        help_text="Symbols with commas; empty: any. Of a ratio two, the upper one first.",
    )
    low = forms.FloatField(label="Lowest that fits", required=False)
    high = forms.FloatField(
        label="Highest that fits", required=False,
        help_text="% for oxides and duplicates, z beside earlier samples, a number for a ratio.",
    )  # fmt: skip
    source = forms.CharField(
        label="Source", help_text="Author, title and year, or: common practice, no source.", max_length=400
    )
    ends = forms.BooleanField(label="From now on this rule is not asked any more", required=False)
    reason = forms.CharField(label="Why it is entered", required=False)

    def arguments(self) -> dict[str, Any]:
        """What the act takes."""
        given = dict(self.cleaned_data)
        given["elements"] = [symbol for symbol in re.split(r"[\s,;]+", given["elements"]) if symbol]
        given["is_active"] = not given.pop("ends")
        return {**given, "kind": PlausibilityKind(given["kind"])}
