"""What is said of a whole submission or one of its samples: a sampling record, an opinion."""

from typing import Any

from django import forms

from labresults.models import Sample, Submission


class _OfSubmission(forms.Form):
    """For every sample of a submission, or for one."""

    sample = forms.ModelChoiceField(Sample.objects.none(), required=False, empty_label="every sample", label="Of")

    def __init__(self, submission: Submission, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        samples = submission.samples.filter(struck_at=None).order_by("ordinal")
        self.fields["sample"].queryset = samples  # type: ignore[attr-defined]
        self.submission = submission

    def arguments(self) -> dict[str, Any]:
        """What the act takes."""
        return {**self.cleaned_data, "submission": self.submission}


class SamplingForm(_OfSubmission):
    """How the laboratory itself took samples (ISO/IEC 17025:2017, 7.8.5)."""

    sampled_by = forms.CharField(label="Who took the samples", max_length=200)
    place = forms.CharField(
        label="Where", widget=forms.Textarea(attrs={"rows": 2}), help_text="With drawings or photographs by name."
    )
    plan = forms.CharField(label="Plan and method of sampling", widget=forms.Textarea(attrs={"rows": 2}))
    conditions = forms.CharField(
        label="Conditions that bear on the results", required=False, widget=forms.Textarea(attrs={"rows": 2})
    )
    uncertainty = forms.CharField(
        label="For the uncertainty of sampling", required=False, widget=forms.Textarea(attrs={"rows": 2}),
        help_text="What is needed to estimate it, for example how duplicates were taken.",
    )  # fmt: skip
    reason = forms.CharField(label="Why it is recorded again", required=False)


class OpinionForm(_OfSubmission):
    """An opinion or interpretation (ISO/IEC 17025:2017, 7.8.7)."""

    text = forms.CharField(
        label="Opinion", required=False, widget=forms.Textarea(attrs={"rows": 4}),
        help_text="Left empty, the one that stands is taken back.",
    )  # fmt: skip
    basis = forms.CharField(
        label="What it stands on", required=False, widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Results, standards, experience: printed with it.",
    )  # fmt: skip
    reason = forms.CharField(label="Why it is changed", required=False)
