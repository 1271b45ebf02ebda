"""Addresses inside the page of a run that keep what was asked for."""

from typing import Any

from django import template
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from labresults.templatetags.quantities import measure_unit, plain, to_place

register = template.Library()


@register.simple_tag
def kept(asked: Any, **changed: object) -> str:
    """The page as it is, with only what is changed in it; an empty word takes something out."""
    return str(asked.kept(**{name: value or None for name, value in changed.items()}))


@register.filter
def at(place: str, number: int) -> str:
    """Where a position is; `place` has `{0}` for its number."""
    return place.format(number)


@register.filter
def join_words(words: Any) -> str:
    """Words one after another."""
    return ", ".join(str(word) for word in words)


@register.simple_tag
def position_cell(cell: Any) -> SafeString:
    """One reading in the table of positions: its number, which leads to its trace where there is one.

    A page has thousands of them: one call each keeps it quick.
    """
    css = "num bad" if cell.bad else "num"
    if cell.value is None:
        return format_html('<td class="{}"></td>', css)
    words = f"<{plain(cell.below)}" if cell.below else to_place(cell.value, cell.places)
    if cell.measure:
        return format_html('<td class="{}">{}<span class="unit">{}</span></td>', css, words, measure_unit(cell.measure))
    if cell.result:
        address = reverse("trace", args=[cell.result])
        return format_html('<td class="{}"><a class="n" href="{}">{}</a></td>', css, address, words)
    return format_html('<td class="{}">{}</td>', css, words)
