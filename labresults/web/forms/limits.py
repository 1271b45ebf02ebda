"""A new edition of limits, and the scope of a method: pasted rows with what stands beside them."""

import re
from collections.abc import Iterator
from typing import Any

from django import forms

from labresults.actions.limits import LimitRow
from labresults.actions.scope import ScopeRow
from labresults.models import Method
from labresults.terms import Basis, DecisionRule, LimitSide
from labresults.web.forms.numbers import read_number

_SIDES = {"": LimitSide.AT_MOST, **{side.value: side for side in LimitSide}}
MOST_ROWS = 500
_IS_CODE = re.compile(r"[a-z0-9-]+").fullmatch
"""Of a computed result; symbols of elements begin with a capital."""


def _cells(text: str) -> Iterator[tuple[int, list[str]]]:
    """Rows that say something, with their number: cells parted by tabs, semicolons or commas with a space."""
    for number, line in enumerate(text.splitlines(), start=1):
        if line.strip():
            plain = line.replace("\t", ";").replace(", ", ";")
            yield number, [cell.strip() for cell in plain.split(";")]


def _number(text: str, number: int) -> float:
    try:
        return read_number(text)
    except ValueError as error:
        raise forms.ValidationError(f"Row {number}: {error}") from None


class LimitSetForm(forms.Form):
    """One edition of one source: its limits pasted, and the decision rule that stands with it."""

    name = forms.CharField(max_length=200)
    edition = forms.CharField(max_length=60, help_text="For example 2026. An edition is never changed.")
    source = forms.CharField(help_text="Document, date, table: printed on the certificate.")
    limits = forms.CharField(
        label="Limits, one a row",
        widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false"}),
        help_text="Element, or the code of a computed result; value; unit; and “at least” where less is not allowed. "
        "Pasting from a spreadsheet works.",
    )
    basis = forms.ChoiceField(choices=[(word.value, word.value) for word in Basis])
    decision_rule = forms.ChoiceField(
        required=False,
        choices=[("", "as the reporting rules say"), *((rule.value, rule.value) for rule in DecisionRule)],
    )
    risk_percent = forms.FloatField(
        label="Accepted risk, %", required=False, min_value=0.0, max_value=50.0,
        help_text="For a guard band for a chosen risk, and for a probability.",
    )  # fmt: skip
    reason = forms.CharField(label="Why it is entered", required=False)

    def clean_limits(self) -> list[LimitRow]:
        """Rows of limits; each fault names its row."""
        rows = []
        for number, cells in _cells(self.cleaned_data["limits"]):
            side = " ".join(cells[3:]).lower()
            if len(cells) < 3 or side not in _SIDES:
                raise forms.ValidationError(f"Row {number}: give element; value; unit, for example Pb; 250; mg/kg.")
            element, derived = ("", cells[0]) if _IS_CODE(cells[0]) else (cells[0], "")
            rows.append(LimitRow(element, _number(cells[1], number), cells[2], _SIDES[side], derived))
        return rows[:MOST_ROWS]

    def arguments(self) -> dict[str, Any]:
        """What the act takes."""
        given = dict(self.cleaned_data)
        rule = given.pop("decision_rule")
        return {**given, "basis": Basis(given["basis"]), "decision_rule": DecisionRule(rule) if rule else None}


class ScopeForm(forms.Form):
    """What a method is accredited for: rows pasted, from a day on."""

    rows = forms.CharField(
        label="Analyte and matrix, one a row",
        widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false"}),
        help_text="Element; matrix; from; to; unit, for example Pb; soil; 5; 5000; mg/kg.",
    )
    valid_from = forms.DateField(label="From", widget=forms.DateInput(attrs={"type": "date"}))
    valid_to = forms.DateField(
        label="Last day", required=False, widget=forms.DateInput(attrs={"type": "date"}),
        help_text="To end it early, enter it again with its last day.",
    )  # fmt: skip
    reason = forms.CharField(label="Why it is entered", required=False)

    def clean_rows(self) -> list[ScopeRow]:
        """Rows of the scope; each fault names its row."""
        rows = []
        for number, cells in _cells(self.cleaned_data["rows"]):
            if len(cells) != len(ScopeRow._fields):
                raise forms.ValidationError(f"Row {number}: give element; matrix; from; to; unit.")
            rows.append(ScopeRow(cells[0], cells[1], _number(cells[2], number), _number(cells[3], number), cells[4]))
        return rows[:MOST_ROWS]

    def arguments(self, method: Method) -> dict[str, Any]:
        """What the act takes."""
        return {**self.cleaned_data, "method": method}
