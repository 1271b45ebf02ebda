"""What is asked for files of readings, by people and by programs."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.http import QueryDict

from labresults.models import Layout

_SPAN_MOST = 10_000  # rows in one span: a slip such as 1-999999999 is no wish


class BroughtForm(forms.Form):
    """What a person says of one file: its layout, when it was measured, rows left out, and what names mean."""

    layout = forms.ChoiceField(required=False, label="Layout")
    measured_from = forms.DateTimeField(required=False, label="Measured from")
    measured_to = forms.DateTimeField(required=False, label="Measured to")
    more = forms.CharField(
        required=False, max_length=2_000, label="Other rows to leave out", help_text="By number, as 14, 20-25."
    )
    why = forms.CharField(required=False, label="Why these rows are left out")

    def __init__(self, posted: QueryDict | None, prefix: str, layouts: Sequence[Layout], offered: str) -> None:
        super().__init__(posted, prefix=prefix)
        self.posted = posted
        for name in ("measured_from", "measured_to"):
            self.fields[name].widget = forms.DateTimeInput({"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
        choices = [("", "choose"), *((str(layout.pk), str(layout)) for layout in layouts)]
        self.fields["layout"].choices = choices  # type: ignore[attr-defined]
        self.fields["layout"].initial = offered

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        start, end = cleaned.get("measured_from"), cleaned.get("measured_to")
        if start and end and end < start:
            self.add_error("measured_to", "The end lies before the beginning.")
        if self.rows and not cleaned.get("why"):
            self.add_error("why", "Say why: a reader of the record must know.")
        return cleaned

    def clean_more(self) -> str:
        if spans(self.cleaned_data["more"]) is None:
            raise forms.ValidationError("Give rows by number, as 14, 20-25.")
        return str(self.cleaned_data["more"])

    def given(self, name: str) -> Any:
        """What stands in a field, where it was read without fault."""
        return getattr(self, "cleaned_data", {}).get(name)

    @property
    def ticked(self) -> list[int]:
        """Rows to leave out whose boxes are ticked."""
        sent = self.posted.getlist(self.add_prefix("strike")) if self.posted else []
        return sorted({int(row) for row in sent if row.isdecimal()})

    @property
    def rows(self) -> list[int]:
        """Rows to leave out: those that are ticked, and those that are named."""
        named = spans(self.posted.get(self.add_prefix("more"), "")) if self.posted else None
        return sorted({*self.ticked, *(named or ())})

    @property
    def struck(self) -> dict[int, str]:
        """Rows to leave out, each with the reason."""
        why = self.posted.get(self.add_prefix("why"), "").strip() if self.posted else ""
        return dict.fromkeys(self.rows, why)

    @property
    def matched(self) -> dict[str, int]:
        """What the file calls a position, to its number, where it was answered."""
        if not self.posted:
            return {}
        names = self.posted.getlist(self.add_prefix("asked"))
        answers = self.posted.getlist(self.add_prefix("answer"))
        return {name: int(number) for name, number in zip(names, answers, strict=False) if number.isdecimal()}


def spans(text: str) -> set[int] | None:
    """Rows written as 14, 20-25; None where it is not understood."""
    rows: set[int] = set()
    for part in text.replace(";", ",").split(","):
        first, dash, last = (piece.strip() for piece in part.partition("-"))
        if not part.strip():
            continue
        last = last if dash else first
        if not (first.isdecimal() and last.isdecimal()) or not 0 <= int(last) - int(first) <= _SPAN_MOST:
            return None
        rows |= set(range(int(first), int(last) + 1))
    return rows


class ProgramForm(forms.Form):
    """What a program says of the file that it brings; `filename` where the whole body is the file.

    A time without a zone is one of the laboratory's clocks.
    """

    layout = forms.CharField(max_length=60)
    filename = forms.CharField(max_length=255, required=False, empty_value="readings")
    file = forms.FileField(required=False, allow_empty_file=True)
    reason = forms.CharField(required=False)
    measured_from = forms.DateTimeField(required=False)
    measured_to = forms.DateTimeField(required=False)

    def said(self) -> str:
        """Everything that is wrong, in one line."""
        wrong = [f"{name}: {' '.join(str(error) for error in errors)}" for name, errors in self.errors.items()]
        return " ".join(wrong)

    def several(self, name: str) -> list[str]:
        """A word that may be said several times."""
        return list(self.data.getlist(name))
