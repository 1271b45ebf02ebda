"""A table as the pages show it: rows cheap to draw, and cards on a phone."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.utils.html import format_html
from django.utils.safestring import SafeString
from django_tables2 import A, Column, Table

from labresults.templatetags.quantities import day, day_of_year


@dataclass(frozen=True)
class Heading:
    """What the template needs of a column, once for the table instead of once a cell."""

    words: str
    css: str
    orderable: bool
    ordered: str  # "", ascending or descending
    next: str


class Ledger(Table):
    """Base of all lists."""

    def headings(self) -> list[Heading]:
        """The columns shown, in order."""
        return [
            Heading(
                words=str(column.header),
                css=column.column.attrs.get("td", {}).get("class", ""),
                orderable=column.orderable,
                ordered=_ordered(column),
                next=str(column.order_by_alias.next),
            )
            for column in self.columns
        ]

    def ledger_rows(self) -> Iterator[list[tuple[Heading, Any]]]:
        """For each row of the page its cells, each with its column."""
        headings = self.headings()
        for row in self.paginated_rows:
            yield list(zip(headings, row.cells, strict=True))


class DayColumn(Column):
    """A day, in the site's zone where it is a time."""

    def __init__(self, *args: Any, year: bool = True, **options: Any) -> None:
        options.setdefault("attrs", {"td": {"class": "nowrap"}})
        super().__init__(*args, **options)
        self.words = day_of_year if year else day

    def render(self, value: Any) -> str:
        return str(self.words(value))


def number_column(page: str, field: str, argument: str, **options: Any) -> Column:
    """A number that names a thing and leads to its page."""
    return Column(
        accessor=field,
        linkify=(page, {argument: A(field)}),
        attrs={"a": {"class": "id"}, "td": {"class": "nowrap"}},
        **options,
    )


def two_lines(first: object, second: object) -> SafeString:
    """A word with a quieter one under it."""
    return format_html('{}<br><span class="unit">{}</span>', first, second) if second else format_html("{}", first)


def _ordered(column: Any) -> str:
    if not column.is_ordered:
        return ""
    return "descending" if column.order_by_alias.is_descending else "ascending"
