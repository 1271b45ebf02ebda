"""How the list of nonconforming work is narrowed."""

from typing import Any

from django.db.models import Q, QuerySet
from django_filters import CharFilter, ChoiceFilter, FilterSet


class CaseFilter(FilterSet):
    """By words, and where it stands."""

    q = CharFilter(label="Number, thing, or words of it", method="search")
    state = ChoiceFilter(
        label="State",
        choices=[("hold", "on hold"), ("open", "open"), ("closed", "closed")],
        method="standing",
        empty_label="any",
    )

    def search(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        return rows.filter(
            Q(number__icontains=value)
            | Q(name__icontains=value)
            | Q(what__icontains=value)
            | Q(effect__icontains=value)
        )

    def standing(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        if value == "hold":
            return rows.filter(is_on_hold=True)
        return rows.filter(is_closed=value == "closed")
