"""How lists of people and of audit events are narrowed."""

from typing import Any

from django.contrib.auth.models import Group
from django.db.models import Q, QuerySet
from django_filters import CharFilter, ChoiceFilter, DateFilter, FilterSet, ModelChoiceFilter

from labresults.acts import ACTS
from labresults.models import Person
from labresults.web.filters.fields import day_field


def acts() -> list[tuple[str, str]]:
    """Every act, in words."""
    return [(name, name.replace("_", " ")) for name in sorted(ACTS)]


class PersonFilter(FilterSet):
    """By name, and role."""

    q = CharFilter(label="Name", method="search")
    role = ModelChoiceFilter(
        field_name="groups", queryset=Group.objects.order_by("name"), label="Role", empty_label="any"
    )

    def search(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        return rows.filter(
            Q(first_name__icontains=value) | Q(last_name__icontains=value) | Q(username__icontains=value)
        )


class AuditFilter(FilterSet):
    """By who, what, to what, and between which days."""

    person = ModelChoiceFilter(
        queryset=Person.objects.order_by("last_name", "first_name"), label="Who", empty_label="anyone"
    )
    subject = CharFilter(label="What it touches", lookup_expr="icontains")
    act = ChoiceFilter(label="What was done", choices=acts, empty_label="anything")
    since = DateFilter(field_name="at", lookup_expr="date__gte", label="Since", widget=day_field())
    until = DateFilter(field_name="at", lookup_expr="date__lte", label="Until", widget=day_field())
