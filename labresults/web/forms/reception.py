"""A delivery at the counter: who brings it, what is asked for, how it arrived, and rows that count."""

from typing import Any

from django import forms
from django.http import QueryDict
from django.urls import reverse_lazy

from labresults.models import Client, DerivedDefinition, LimitSet, Matrix, Method
from labresults.models.base import choices
from labresults.queries.delivery import series_rows
from labresults.queries.derived import choosable
from labresults.queries.request_review import Asking
from labresults.terms import HAZARD_CAUTIONS, Basis, Hazard, Seals

HEAD = ("client", "reference", "received_at", "due_on")
ASKED = ("methods", "derived", "basis", "limit_set")
ARRIVED = ("condition", "seals", "temperature_C", "place", "kept_days", "sampling", "acidified")
AS_ALL = "as all"


class Methods(forms.ModelMultipleChoiceField):
    """Methods by code and title."""

    def label_from_instance(self, obj: Method) -> str:
        return f"{obj.code}, {obj.title}"


class DerivedResults(forms.ModelMultipleChoiceField):
    """Derived results by their heading and name; nothing is shown where none is defined."""

    def __init__(self, **named: Any) -> None:
        super().__init__(choosable(), widget=forms.CheckboxSelectMultiple, **named)

    def label_from_instance(self, obj: DerivedDefinition) -> str:
        return f"{obj.reported_as}, {obj.name} (v{obj.version})"


class DeliveryForm(forms.Form):
    """What holds for the whole delivery."""

    form_key = forms.CharField(widget=forms.HiddenInput, required=False, max_length=40)
    client = forms.ModelChoiceField(
        Client.objects.order_by("name"),
        empty_label="choose",
        widget=forms.Select(
            attrs={
                "hx-get": reverse_lazy("reception-asked"),
                "hx-trigger": "change",
                "hx-target": "#asked",
                "hx-include": "[name=methods], [name=derived], [name=basis], [name=limit_set]",
            }
        ),
    )
    reference = forms.CharField(label="Order or reference", required=False, max_length=200)
    received_at = forms.DateTimeField(
        label="Received",
        required=False,
        help_text="Empty: now.",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}),
    )
    due_on = forms.DateField(
        label="Due",
        required=False,
        help_text="Empty: from the longest turnaround of the methods.",
        widget=forms.DateInput(attrs={"type": "date"}),
    )
    methods = Methods(
        Method.objects.order_by("code"),
        label="Methods, for every sample",
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    derived = DerivedResults(label="Computed from the results", required=False)
    basis = forms.ChoiceField(label="Reported on", choices=choices(Basis), initial=Basis.AS_RECEIVED.value)
    limit_set = forms.ModelChoiceField(
        LimitSet.objects.order_by("name", "edition"), label="Limits to compare with", required=False, empty_label="none"
    )
    condition = forms.CharField(label="Condition on receipt", required=False)
    seals = forms.ChoiceField(label="Seals", required=False, choices=[("", "not looked at"), *choices(Seals)])
    temperature_C = forms.FloatField(
        label="Temperature on receipt, °C", required=False, min_value=-273.15, max_value=200.0
    )
    place = forms.CharField(label="Put at", required=False, max_length=100, initial="reception")
    kept_days = forms.IntegerField(
        label="Kept, days after the due date",
        required=False,
        min_value=0,
        max_value=30_000,
        help_text="Empty: as agreed with the client, else as usual.",
    )
    sampling = forms.CharField(label="Sampling, as the client says", required=False)
    acidified = forms.BooleanField(label="Waters acidified here on arrival", required=False)
    hazards = forms.MultipleChoiceField(
        label="Hazards, of every sample",
        required=False,
        choices=choices(Hazard),
        widget=forms.CheckboxSelectMultiple,
    )

    def head(self) -> list[forms.BoundField]:
        """Who brings it, and when it is due."""
        return [self[name] for name in HEAD]

    def asked(self) -> list[forms.BoundField]:
        """What is asked for, of every sample."""
        return [self[name] for name in ASKED]

    def arrived(self) -> list[forms.BoundField]:
        """How it arrived, and where it lies."""
        return [self[name] for name in ARRIVED]

    def cautions(self) -> list[tuple[Any, str]]:
        """Each tick of a hazard with its caution."""
        return [(tick, HAZARD_CAUTIONS[Hazard(tick.data["value"])]) for tick in self["hazards"]]

    def basis_asked(self) -> Basis:
        """What results are reported on; as received where it was not said."""
        return Basis(self.cleaned_data.get("basis") or Basis.AS_RECEIVED)

    def arguments(self) -> dict[str, Any]:
        """What the act takes; the hazards belong to the rows."""
        given = {name: value for name, value in self.cleaned_data.items() if name != "hazards"}
        return {**given, "basis": self.basis_asked(), "place": given["place"] or "reception"}


def asking_like(sent: QueryDict, asking: Asking) -> DeliveryForm:
    """The form as it was sent, asking for the same as another request."""
    changed = sent.copy()
    changed.setlist("methods", [str(method.pk) for method in asking.methods])
    if asking.derived:
        changed.setlist("derived", [str(row.pk) for row in asking.derived])
    changed["basis"] = asking.basis.value
    changed["limit_set"] = str(asking.limit_set.pk) if asking.limit_set else ""
    return DeliveryForm(changed)


class SeriesForm(forms.Form):
    """Rows that count: a prefix, from, to, and what is skipped."""

    series_prefix = forms.CharField(label="Prefix", required=False, strip=False, max_length=180)
    series_from = forms.CharField(label="From", max_length=12, help_text="Zeros before it are kept: 001.")
    series_to = forms.CharField(label="To", max_length=12)
    series_skipping = forms.CharField(label="Skipping", required=False, help_text="For example 3, 7-9.")
    series_suffix = forms.CharField(label="After the number", required=False, strip=False, max_length=20)
    series_matrix = forms.ModelChoiceField(
        Matrix.objects.order_by("name"), label="Matrix", required=False, empty_label="choose", to_field_name="name"
    )

    def rows(self) -> list[dict[str, str]]:
        """The rows of the series. Raises BadInput where it cannot be counted."""
        given = {name.removeprefix("series_"): value for name, value in self.cleaned_data.items()}
        matrix = given["matrix"].name if given["matrix"] else ""
        return series_rows(
            given["prefix"], given["from"], given["to"], given["skipping"], given["suffix"], matrix=matrix
        )


class OfMatrixForm(forms.Form):
    """What the rows of one matrix ask for, where it differs from the rest."""

    of_matrix = forms.CharField(label="Matrix")
    of_matrix_methods = Methods(
        Method.objects.order_by("code"), label="Its methods", required=False, widget=forms.CheckboxSelectMultiple
    )
    of_matrix_basis = forms.ChoiceField(label="Reported on", required=False, choices=[("", AS_ALL), *choices(Basis)])
    of_matrix_limits = forms.ChoiceField(label="Limits", required=False)

    def __init__(self, posted: QueryDict | None, *, matrices: list[str], limits: list[str]) -> None:
        super().__init__(posted)
        self.fields["of_matrix"].widget = forms.Select(choices=[(name, name) for name in matrices])
        self.fields["of_matrix_limits"].choices = [("", AS_ALL), *((name, name) for name in limits)]

    def put_into(self, rows: list[dict[str, str]]) -> int:
        """Write the choice into the rows of the matrix, over what they asked for; return how many there are."""
        own = [row for row in rows if row["matrix"] == self.cleaned_data["of_matrix"]]
        for row in own:
            row["methods"] = ", ".join(method.code for method in self.cleaned_data["of_matrix_methods"])
            row["basis"] = self.cleaned_data["of_matrix_basis"]
            row["limits"] = self.cleaned_data["of_matrix_limits"]
        return len(own)
