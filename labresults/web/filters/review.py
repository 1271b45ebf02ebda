"""How the list of what waits for review is narrowed."""

from typing import Any

from django.db.models import Q, QuerySet
from django_filters import CharFilter, ChoiceFilter, FilterSet, ModelChoiceFilter

from labresults.models import Client
from labresults.queries.review_lists import waiting_numbers


class ReviewFilter(FilterSet):
    """By submission, reference or sample, client, and whether something waits; without a word, what waits."""

    q = CharFilter(label="Submission, reference or sample", method="search")
    client = ModelChoiceFilter(queryset=Client.objects.order_by("name"), label="Client", empty_label="any")
    state = ChoiceFilter(
        label="Show", choices=[("all", "every submission")], method="standing", empty_label="what waits"
    )

    def search(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        inside = rows.model.objects.filter(
            Q(samples__number__icontains=value) | Q(samples__client_identification__icontains=value)
        ).values("pk")
        return rows.filter(Q(number__icontains=value) | Q(reference__icontains=value) | Q(pk__in=inside))

    def standing(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        return rows

    def filter_queryset(self, queryset: QuerySet[Any]) -> QuerySet[Any]:
        rows = super().filter_queryset(queryset)
        if self.form.cleaned_data.get("state"):
            return rows
        return rows.filter(number__in=waiting_numbers(), unsaid__gt=0)
