"""How the list of runs is narrowed."""

from typing import Any

from django.db.models import Q, QuerySet
from django_filters import CharFilter, ChoiceFilter, DateFilter, FilterSet, ModelChoiceFilter

from labresults.models import Equipment, Method
from labresults.terms import EquipmentKind
from labresults.web.filters.fields import day_field


class RunFilter(FilterSet):
    """By number or a sample in it, method, instrument, state and day."""

    q = CharFilter(label="Run, or a sample in it", method="search")
    method = ModelChoiceFilter(
        field_name="method_version__method", queryset=Method.objects.order_by("code"), label="Method", empty_label="any"
    )
    instrument = ModelChoiceFilter(
        queryset=Equipment.objects.filter(kind=EquipmentKind.SPECTROMETER).order_by("code"),
        label="Instrument",
        empty_label="any",
    )
    state = ChoiceFilter(
        label="State",
        choices=[("planned", "planned"), ("measured", "measured"), ("evaluated", "evaluated"), ("failed", "failed")],
        method="standing",
        empty_label="any",
    )
    since = DateFilter(field_name="made_at", lookup_expr="date__gte", label="Planned since", widget=day_field())

    def search(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        inside = rows.model.objects.filter(positions__label__icontains=value).values("pk")
        return rows.filter(Q(number__icontains=value) | Q(pk__in=inside))

    def standing(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        narrowed = {
            "planned": {"has_readings": False},
            "measured": {"has_readings": True, "evaluation_version__isnull": True},
            "evaluated": {"evaluation_version__isnull": False},
            "failed": {"open_failures__gt": 0},
        }
        return rows.filter(**narrowed[value])
