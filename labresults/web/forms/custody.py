"""Custody: a box of samples, who has them now, and where."""

import re
from typing import Any

from django import forms

from labresults.models import Person
from labresults.terms import Custody

ACTS = {
    Custody.MOVED: "moved to another place",
    Custody.HANDED_OVER: "handed over to somebody",
    Custody.RETURNED: "returned to the client",
    Custody.DISPOSED: "disposed of",
}


MOST = 5_000
"""Labels in one box: more than a delivery has, and within what a database takes in one question."""


class CustodyForm(forms.Form):
    """Numbers as they are scanned or pasted, one a line, and what was done with all of them."""

    numbers = forms.CharField(
        label="Samples",
        widget=forms.Textarea(attrs={"rows": 14, "spellcheck": "false", "autocomplete": "off", "data-scan": ""}),
        help_text="Scan or paste laboratory numbers, one a line; that of a submission stands for all its samples.",
        error_messages={"required": "Scan or type at least one laboratory number."},
    )
    what = forms.TypedChoiceField(
        label="What was done", coerce=Custody, choices=[(word.value, words) for word, words in ACTS.items()]
    )
    place = forms.CharField(
        label="Where they are now",
        max_length=100,
        help_text="A room, shelf or freezer; of samples that left, where they went.",
        error_messages={"required": "Say where the samples are now."},
    )
    held_by = forms.ModelChoiceField(
        Person.objects.none(),
        label="Who has them",
        empty_label=None,
        help_text="Of samples that left: who gave them out.",
    )
    since = forms.DateTimeField(
        label="Since",
        required=False,
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        help_text="Empty: now.",
    )
    taken_by = forms.CharField(
        label="Who took them away",
        required=False,
        max_length=200,
        help_text="Of samples returned: who of the client, by name.",
    )
    reason = forms.CharField(
        label="Reason",
        required=False,
        help_text="Needed to dispose of samples before the day until which they are kept.",
    )

    def __init__(self, *args: Any, people: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["held_by"].queryset = people  # type: ignore[attr-defined]

    def clean_numbers(self) -> str:
        """The box as it was filled. Raises ValidationError when it holds more than can be taken at once."""
        numbers: str = self.cleaned_data["numbers"]
        if len(_names(numbers)) > MOST:
            raise forms.ValidationError(f"The box holds more than {MOST} labels. Record them in parts.")
        return numbers

    def names(self) -> list[str]:
        """What stands in the box, one name a label."""
        return _names(self.cleaned_data["numbers"])

    def arguments(self) -> dict[str, Any]:
        """What the act takes, without the samples."""
        return {name: value for name, value in self.cleaned_data.items() if name != "numbers"}


def _names(numbers: str) -> list[str]:
    return [name for name in re.split(r"[\s,;]+", numbers) if name]
