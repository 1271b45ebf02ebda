"""Words by which programs sign in: whose they are, and who may see them."""

import hashlib
from datetime import date

from django.db.models import QuerySet

from labresults.models import AccessToken, Person


def token_of(word: str, on: date) -> AccessToken | None:
    """The token that this word opens on this day, with its person; None when there is none. One query.

    Unknown, expired and ended ones, and those of people who left, are told apart after the same one query: neither the
    answer nor the time that it takes says which it was.
    """
    sha256 = hashlib.sha256(word.encode()).hexdigest()
    token = AccessToken.objects.filter(sha256=sha256).select_related("person", "end").first()
    is_open = token is not None and token.person.is_active and token.expires_on >= on and not hasattr(token, "end")
    return token if is_open else None


def may_end_all(person: Person) -> bool:
    """Whether the person sees and may end everybody's tokens: who authorises people does; two queries once."""
    return bool(person.has_perm("labresults.authorise_person"))


def tokens_shown_to(person: Person) -> QuerySet[AccessToken]:
    """The person's own tokens, or everybody's for who may end them, newest first; one query."""
    tokens = AccessToken.objects.select_related("person", "end__made_by").order_by("-pk")
    return tokens if may_end_all(person) else tokens.filter(person=person)


def token(person: Person, key: int) -> AccessToken:
    """One of the tokens that the person may see; one query. Raises AccessToken.DoesNotExist."""
    return tokens_shown_to(person).get(pk=key)
