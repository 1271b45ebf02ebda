"""Corrections of what was logged: a sample added later, its identification, its submission, or struck."""

from django import forms

from labresults.models import LimitSet, Matrix, Method
from labresults.models.base import choices
from labresults.terms import Basis, Hazard

_REASON = "It stays on the record."


def _reason() -> forms.CharField:
    return forms.CharField(label="Reason", required=False, help_text=_REASON)


class AddSampleForm(forms.Form):
    """One sample that came later than its submission."""

    client_identification = forms.CharField(label="Client’s own identification", max_length=200, strip=False)
    matrix = forms.ModelChoiceField(Matrix.objects.order_by("name"), to_field_name="name", empty_label="choose")
    delivered_g = forms.CharField(label="Delivered, g", required=False)
    delivered_mL = forms.CharField(label="Delivered, mL", required=False)
    density = forms.CharField(label="Density, kg/L", required=False)
    sampled = forms.CharField(label="Sampled", required=False, help_text="2026-11-16 or 2026-11-16 08:30")
    field_filtered = forms.ChoiceField(
        label="Filtered in the field", required=False, choices=[("", "not said"), ("yes", "yes"), ("no", "no")]
    )
    preservation = forms.CharField(label="Preservation", required=False, max_length=100)
    note = forms.CharField(label="Note on arrival", required=False)
    basis = forms.ChoiceField(label="Reported on", required=False, choices=[("", "as the submission"), *choices(Basis)])
    limits = forms.ModelChoiceField(
        LimitSet.objects.order_by("name", "edition"), label="Compared with", required=False,
        empty_label="as the submission",
    )  # fmt: skip
    place = forms.CharField(label="Where it is now", initial="reception", max_length=100)
    methods = forms.ModelMultipleChoiceField(
        Method.objects.order_by("code"),
        label="Methods, where it asks for others",
        required=False,
        to_field_name="code",
        widget=forms.CheckboxSelectMultiple,
    )
    hazards = forms.MultipleChoiceField(
        label="Hazards", required=False, choices=choices(Hazard), widget=forms.CheckboxSelectMultiple
    )
    reason = forms.CharField(label="Why it is added later", required=False, help_text=_REASON)
    accept = forms.CharField(label="Why it is accepted all the same", required=False)
    tell_client = forms.BooleanField(label="The certificate says it", required=False)

    def row(self) -> dict[str, str]:
        """The sample as a row of a delivery, in texts."""
        given = self.cleaned_data
        texts = ("client_identification", "delivered_g", "delivered_mL", "density", "sampled", "field_filtered")
        return {
            **{name: given[name] for name in (*texts, "preservation", "note", "basis")},
            "matrix": given["matrix"].name,
            "limits": str(given["limits"]) if given["limits"] else "",
            "methods": ", ".join(method.code for method in given["methods"]),
            "hazards": ", ".join(given["hazards"]),
        }


class IdentificationForm(forms.Form):
    """The client's own identification as it should be, and what it was when the page was shown."""

    to = forms.CharField(label="Client’s own identification", max_length=200, strip=False, required=False)
    seen = forms.CharField(widget=forms.HiddenInput, strip=False)
    reason = _reason()


class MoveForm(forms.Form):
    """The submission that the sample belongs to, and the one in which it was when the page was shown."""

    to = forms.CharField(
        label="Submission", max_length=20, widget=forms.TextInput(attrs={"list": "others", "autocomplete": "off"})
    )
    seen = forms.CharField(widget=forms.HiddenInput)
    reason = _reason()


class StrikeForm(forms.Form):
    """Why the sample is struck."""

    reason = _reason()
