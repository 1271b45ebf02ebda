"""How the list of layouts is narrowed."""

from django_filters import CharFilter, FilterSet


class LayoutFilter(FilterSet):
    """By name."""

    q = CharFilter(label="Name", field_name="name", lookup_expr="icontains")
