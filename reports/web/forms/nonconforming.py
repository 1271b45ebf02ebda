"""What is recorded when clients are told of nonconforming work."""

from django import forms


class TellForm(forms.Form):
    """Why they are told now; it stays in the laboratory."""

    reason = forms.CharField(
        label="Why they are told now", widget=forms.Textarea(attrs={"rows": 2}),
        help_text="It stays on the record here. The letter says only that a certificate may be wrong in part.",
    )  # fmt: skip
