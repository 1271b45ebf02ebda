"""The laboratory and its people. Each function says how many database queries it makes."""

from typing import Any

from django.core.cache import cache
from django.db.models import Exists, F, OuterRef, QuerySet
from django.utils.timezone import get_default_timezone_name

from labresults.models import Laboratory, Person, SecondFactor
from labresults.roles import ROLES


def laboratory() -> Laboratory | None:
    """The laboratory itself; one query."""
    return Laboratory.objects.filter(pk=1).first()


def laboratory_shown() -> Laboratory | None:
    """The laboratory as pages show it; one query in a minute."""
    known: Laboratory | None = cache.get("laboratory-shown")
    if known is None:
        known = laboratory()
        cache.set("laboratory-shown", known, 60)
    return known


def site_time_zone() -> str:
    """Name of the laboratory's time zone; the query of `laboratory_shown`."""
    found = laboratory_shown()
    return found.time_zone if found else get_default_timezone_name()


def person_signed_in(key: int) -> Person | None:
    """Who has a session, with the roles that they hold now and whether they are asked for a code; one query."""
    codes = SecondFactor.objects.filter(person=OuterRef("pk"), end__isnull=True)
    rows: list[Any] = list(Person.objects.filter(pk=key).annotate(role=F("groups__name"), has_code=Exists(codes)))
    if not rows:
        return None
    rows[0].roles_held = {row.role for row in rows}
    found: Person = rows[0]
    return found


def role_names(person: Person) -> list[str]:
    """The person's roles in the order of the path; one query, none of `person_signed_in`."""
    known: set[str] | None = getattr(person, "roles_held", None)
    held = set(person.groups.values_list("name", flat=True)) if known is None else known
    return [role for role in ROLES if role in held]


def people_of_client(client_id: int) -> QuerySet[Person]:
    """The people of a client who may sign in; one query when it is asked."""
    return Person.objects.filter(client=client_id, is_active=True).order_by("pk")


def others_who_sign_in(person: Person) -> QuerySet[Person]:
    """Everybody else who may sign in, with their client; one query when it is asked."""
    others = Person.objects.filter(is_active=True).exclude(pk=person.pk)
    return others.select_related("client").order_by("last_name", "first_name", "pk")


def by_sign_in(username: str) -> Person:
    """The person who signs in under this name; one query. Raises Person.DoesNotExist."""
    return Person.objects.get(username=username, is_active=True)


def active_person(key: int) -> Person | None:
    """Somebody who may sign in, by key; one query."""
    return Person.objects.filter(pk=key, is_active=True).first()
