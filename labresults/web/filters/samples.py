"""How lists of submissions, samples and clients are narrowed."""

from typing import Any

from django.db.models import Q, QuerySet
from django_filters import CharFilter, ChoiceFilter, DateFilter, FilterSet, ModelChoiceFilter

from labresults.models import Client, Matrix
from labresults.queries.waiting import at
from labresults.terms import Station
from labresults.web.filters.fields import day_field


class SubmissionFilter(FilterSet):
    """By number or reference, client, station and day of receipt."""

    q = CharFilter(label="Number or reference", method="search")
    client = ModelChoiceFilter(queryset=Client.objects.order_by("name"), label="Client", empty_label="any")
    station = ChoiceFilter(
        label="Waits at", choices=[(s.value, s.value) for s in Station], method="standing", empty_label="anywhere"
    )
    since = DateFilter(field_name="received_at", lookup_expr="date__gte", label="Received since", widget=day_field())

    def search(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        return rows.filter(Q(number__icontains=value) | Q(reference__icontains=value))

    def standing(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        return rows.filter(number__in=[row.submission for row in at(Station(value))])


class SampleFilter(FilterSet):
    """By laboratory number or the client's own identification, matrix and client."""

    q = CharFilter(label="Laboratory number or client's own", method="search")
    matrix = ModelChoiceFilter(queryset=Matrix.objects.order_by("name"), label="Matrix", empty_label="any")
    client = ModelChoiceFilter(
        field_name="submission__client", queryset=Client.objects.order_by("name"), label="Client", empty_label="any"
    )

    def search(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        return rows.filter(Q(number__icontains=value) | Q(client_identification__icontains=value))


class ClientFilter(FilterSet):
    """By name, code or contact."""

    q = CharFilter(label="Name, code or contact", method="search")

    def search(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        return rows.filter(Q(name__icontains=value) | Q(code__icontains=value) | Q(contact__icontains=value))
