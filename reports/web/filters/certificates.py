"""How the list of certificates is narrowed."""

from typing import Any

from django.db.models import Q, QuerySet
from django_filters import CharFilter, DateFilter, FilterSet

from labresults.web.filters.fields import day_field


class CertificateFilter(FilterSet):
    """By number, check code, submission or client, and day of issue."""

    q = CharFilter(label="Number, check code, submission or client", method="search")
    since = DateFilter(field_name="made_at", lookup_expr="date__gte", label="Issued since", widget=day_field())

    def search(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        return rows.filter(
            Q(number__icontains=value)
            | Q(check_code__iexact=value)
            | Q(submission__number__icontains=value)
            | Q(submission__client__name__icontains=value)
        )
