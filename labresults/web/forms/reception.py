"""A delivery at the counter: what is asked for, and a grid of samples, pasted or typed."""

from collections.abc import Iterable, Sequence
from typing import Any

from django import forms
from django.http import QueryDict

from labresults.models import Client, LimitSet, Matrix, Method
from labresults.models.base import choices
from labresults.terms import Basis

COLUMNS = ("client_identification", "matrix", "delivered_g", "delivered_mL", "note")
"""Columns of the grid, in the order in which a spreadsheet is pasted; names as of a delivered sample."""

Row = dict[str, str]


class _Methods(forms.ModelMultipleChoiceField):
    """Methods by code and title."""

    def label_from_instance(self, obj: Method) -> str:
        return f"{obj.code}, {obj.title}"


class DeliveryForm(forms.Form):
    """What holds for the whole delivery."""

    client = forms.ModelChoiceField(Client.objects.order_by("name"), empty_label="choose")
    reference = forms.CharField(label="Order or reference", required=False, max_length=200)
    methods = _Methods(
        Method.objects.order_by("code"), label="Methods, for every sample", widget=forms.CheckboxSelectMultiple
    )
    basis = forms.ChoiceField(label="Reported on", choices=choices(Basis), initial=Basis.AS_RECEIVED.value)
    limit_set = forms.ModelChoiceField(
        LimitSet.objects.order_by("name", "edition"), label="Limits to compare with", required=False, empty_label="none"
    )
    due_on = forms.DateField(
        label="Due",
        required=False,
        help_text="Empty: from the longest turnaround of the methods.",
        widget=forms.DateInput(attrs={"type": "date"}),
    )
    condition = forms.CharField(label="Condition on receipt", required=False)
    sampling = forms.CharField(label="Sampling, as the client says", required=False)

    def arguments(self) -> dict[str, Any]:
        """What the act takes."""
        return {**self.cleaned_data, "basis": Basis(self.cleaned_data["basis"])}


class PasteForm(forms.Form):
    """Rows from a spreadsheet, and the matrix of those that name none."""

    paste = forms.CharField(
        label="Paste rows here",
        required=False,
        strip=False,
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false", "autocomplete": "off"}),
        help_text="One sample a line: client’s own identification, matrix, g, mL, note; columns parted by tabs.",
    )
    matrix = forms.ModelChoiceField(
        Matrix.objects.order_by("name"),
        label="Matrix of rows that name none",
        required=False,
        empty_label="each row names its own",
        to_field_name="name",
    )


def rows_typed(posted: QueryDict) -> list[Row]:
    """The rows of the grid as sent, struck ones left out."""
    struck = set(posted.getlist("strike"))
    columns = [posted.getlist(name) for name in COLUMNS]
    rows = [dict(zip(COLUMNS, cells, strict=True)) for cells in zip(*columns, strict=False)]
    return [row for number, row in enumerate(rows, start=1) if str(number) not in struck and any(row.values())]


def rows_pasted(text: str, matrix: str) -> list[Row]:
    """The rows of a pasted text, kept to the letter; a row that names no matrix gets the one that was chosen."""
    rows = []
    for line in text.splitlines():
        if not line.strip():
            continue
        cells = [*line.split("\t"), *[""] * len(COLUMNS)][: len(COLUMNS)]
        row = dict(zip(COLUMNS, cells, strict=True))
        row["matrix"] = row["matrix"].strip() or matrix
        rows.append(row)
    return rows


def with_problems(rows: Sequence[Row], problems: Iterable[Any]) -> list[tuple[int, Row, list[Any]]]:
    """Each row with its number, from 1, and its problems."""
    by_row: dict[int | None, list[Any]] = {}
    for problem in problems:
        by_row.setdefault(problem.row, []).append(problem)
    return [(number, row, by_row.get(number, [])) for number, row in enumerate(rows, start=1)]
