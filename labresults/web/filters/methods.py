"""How the list of methods is narrowed."""

from typing import Any

from django.db.models import Q, QuerySet
from django_filters import CharFilter, FilterSet


class MethodFilter(FilterSet):
    """By code, title or area, and by what it determines."""

    q = CharFilter(label="Code, title or area", method="search")
    element = CharFilter(label="Determines (symbol)", method="determines")

    def search(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        return rows.filter(Q(code__icontains=value) | Q(title__icontains=value) | Q(area__icontains=value))

    def determines(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        return rows.filter(versions__determinations__element__symbol__iexact=value.strip()).distinct()
