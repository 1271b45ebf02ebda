"""Fields that several filters use."""

from django.forms import DateInput


def day_field() -> DateInput:
    """A field for a day, with the browser's own calendar."""
    return DateInput(attrs={"type": "date"})
