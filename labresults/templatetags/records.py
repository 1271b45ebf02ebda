"""From an audit event to the record that it speaks of, and from a record to its audit events."""

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from django import template
from django.urls import NoReverseMatch, reverse

register = template.Library()

_SHOWN, _MOST = 10, 20
"""So many terms of a calculation are shown where there are more than the most; the others are folded away."""

_PAGES: Mapping[str, str] = {
    "submission": "submission",
    "sample": "sample",
    "batch": "batch",
    "run": "run",
    "lot": "lot",
    "equipment": "equipment-item",
    "nonconforming work": "nonconforming-case",
    "scope": "scope",
}
"""Kinds of subjects that have a page of their own, by the name of the page; its argument is the subject."""

_VERSIONED: Mapping[str, str] = {
    "method": "method",
    "layout": "layout",
    "rule set": "rule-set",
    "derived result": "derived-result",
}
"""Kinds whose subject ends in a version, as AR-7 v2: the page is that of the name."""

_LISTS: Mapping[str, str] = {
    "calendar": "calendar",
    "holding time": "holding-times",
    "limits": "limit-sets",
    "plausibility rule": "plausibility",
    "choice of rules": "rule-sets",
    "material": "lots",
    "matrices": "methods",
    "mass losses": "mass-losses",
}
"""Kinds that stand on a page together with their like."""

_SEARCHED: Mapping[str, str] = {"client": "clients", "person": "people"}
"""Kinds that are looked up in a list."""


@register.filter
def record_address(kind: str, subject: str) -> str:
    """The address of the page of what an event speaks of; "" where it has none."""
    try:
        return _address(kind, subject)
    except NoReverseMatch:
        return ""


def _address(kind: str, subject: str) -> str:
    if kind in _LISTS:
        return reverse(_LISTS[kind])
    if kind in _SEARCHED:
        return f"{reverse(_SEARCHED[kind])}?{urlencode({'q': subject})}"
    page, arguments = _PAGES.get(kind, ""), [subject]
    if kind in _VERSIONED:
        page, arguments = _VERSIONED[kind], [subject.rpartition(" v")[0] or subject]
    if kind == "certificate":
        page, arguments = "certificate", subject.split(", issue ")
    return reverse(page, args=arguments) if page else ""


@register.filter
def audit_address(subject: object) -> str:
    """The address of the audit entries of one record, by its number."""
    return f"{reverse('audit')}?{urlencode({'subject': str(subject)})}"


@register.filter
def forward_address(name: object, kind: str) -> str:
    """The address of what one thing touched."""
    return f"{reverse('forward')}?{urlencode({'kind': kind, 'name': str(name)})}"


@register.filter
def in_parts(steps: Sequence[Any]) -> dict[str, Sequence[Any]]:
    """A derived result's steps: the first terms, the others where there are very many, and what is made of them."""
    terms = next((place for place, step in enumerate(steps) if step.result is None), len(steps))
    shown = _SHOWN if terms > _MOST else terms
    return {"first": steps[:shown], "folded": steps[shown:terms], "rest": steps[terms:]}
