"""Things that were found, as pages show them: with the address that each leads to."""

from collections.abc import Iterable, Mapping

from django.urls import reverse

from labresults.queries.find import MOST
from labresults.queries.found import Found

Link = tuple[Found, str]
"""A thing and its address."""

_TITLES = {
    "sample": "Samples",
    "submission": "Submissions",
    "certificate": "Certificates",
    "batch": "Batches and tubes",
    "run": "Runs",
    "client": "Clients",
    "lot": "Lots",
    "equipment": "Balances and instruments",
    "method": "Methods",
    "person": "People",
}


def address_of(thing: Found) -> str:
    """The address of the page that shows a thing, at its place on the page."""
    return reverse(thing.page, args=thing.arguments) + thing.then


def with_address(found: Iterable[Found]) -> list[Link]:
    """Each thing with its address."""
    return [(thing, address_of(thing)) for thing in found]


def as_listed(found: Mapping[str, list[Found]]) -> list[tuple[str, list[Link], bool]]:
    """Title, things with addresses, and whether there may be more than are shown, for each kind."""
    return [(_TITLES[kind], with_address(things), len(things) >= MOST) for kind, things in found.items()]
