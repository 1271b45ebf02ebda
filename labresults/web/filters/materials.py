"""How lists of lots and equipment are narrowed."""

from typing import Any

from django.db.models import Q, QuerySet
from django_filters import CharFilter, ChoiceFilter, FilterSet

from labresults.models.base import choices
from labresults.terms import EquipmentKind, MaterialKind


class LotFilter(FilterSet):
    """By number, material or certificate, and kind."""

    q = CharFilter(label="Lot, material or certificate", method="search")
    kind = ChoiceFilter(field_name="material__kind", choices=choices(MaterialKind), label="Kind", empty_label="any")

    def search(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        return rows.filter(
            Q(number__icontains=value)
            | Q(material__name__icontains=value)
            | Q(material__code__icontains=value)
            | Q(certificate__icontains=value)
        )


class EquipmentFilter(FilterSet):
    """By code or name, and kind."""

    q = CharFilter(label="Code or name", method="search")
    kind = ChoiceFilter(choices=choices(EquipmentKind), label="Kind", empty_label="any")

    def search(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        return rows.filter(Q(code__icontains=value) | Q(name__icontains=value))
