"""A day marked in the laboratory's calendar, and how each weekday is worked."""

from collections.abc import Sequence
from typing import Any

from django import forms

from labresults.models.base import choices
from labresults.terms import DayPart

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


class DayForm(forms.Form):
    """One day that is worked otherwise than its weekday."""

    day = forms.DateField(label="Day", widget=forms.DateInput(attrs={"type": "date"}))
    part = forms.ChoiceField(label="It is", choices=choices(DayPart), initial=DayPart.CLOSED.value)
    name = forms.CharField(
        label="Why", max_length=100, help_text="For example: stocktaking, in the morning only. The receipt may say it."
    )

    def clean_part(self) -> DayPart:
        return DayPart(self.cleaned_data["part"])


class WeekForm(forms.Form):
    """How each weekday is worked, Monday first."""

    def __init__(self, *args: Any, week: Sequence[DayPart], **options: Any) -> None:
        super().__init__(*args, **options)
        for weekday, part in zip(WEEKDAYS, week, strict=True):
            self.fields[weekday.lower()] = forms.ChoiceField(
                label=weekday, choices=choices(DayPart), initial=part.value
            )

    def parts(self) -> list[DayPart]:
        """What the act takes."""
        return [DayPart(self.cleaned_data[weekday.lower()]) for weekday in WEEKDAYS]
