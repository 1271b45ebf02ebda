"""A word for a program, and its end."""

from django import forms


class IssueForm(forms.Form):
    """Which program holds the word, and until when."""

    name = forms.CharField(max_length=60, label="Program that holds it")
    expires_on = forms.DateField(
        label="Last day", widget=forms.DateInput(attrs={"type": "date"}), help_text="At most a year from today."
    )


class EndForm(forms.Form):
    """Why a word is ended before its last day."""

    reason = forms.CharField(label="Why")
