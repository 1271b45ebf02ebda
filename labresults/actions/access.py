"""Words by which programs sign in: shown once, kept as their SHA-256 only, ended by a row of their own."""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from labresults.acts import BadInput, Done, NotAuthorised, WrongState, act
from labresults.models import AccessToken, AccessTokenEnd, Person

LONGEST = timedelta(days=366)
"""A word holds for a year at most: a program that nobody renews is one that nobody looks after."""

_BYTES = 32  # of chance: it cannot be guessed, so its digest needs no salt and no slow hash


@dataclass(frozen=True)
class IssuedToken:
    """A token and the word that opens it. The word is nowhere else, and cannot be shown again."""

    token: AccessToken
    word: str

    def __str__(self) -> str:
        return self.token.name


@act("issue_access_token")
def issue_access_token(*, by: Person, at: datetime, reason: str, name: str, expires_on: date) -> Done[IssuedToken]:
    """Issue a word by which a program may act as the person who asks for it: never more than that person may.

    name: of the program that holds it. expires_on: the last day on which it opens anything.
    Raises BadInput for a program without a name, a name that one of the person's own open words has, and a last day
    that is past or more than a year away.
    """
    name = name.strip()
    last = at.date() + LONGEST
    if not name:
        raise BadInput("Say which program holds it.")
    if not at.date() <= expires_on <= last:
        raise BadInput(f"The last day must be from {at.date()} to {last}: after a year, issue a new one.")
    if AccessToken.objects.filter(person=by, name=name, end=None, expires_on__gte=at.date()).exists():
        raise BadInput(f"You have a word for {name} already. End it first, or give this program another name.")
    word = f"labresults-{secrets.token_urlsafe(_BYTES)}"
    token = AccessToken.objects.create(
        person=by,
        name=name,
        sha256=hashlib.sha256(word.encode()).hexdigest(),
        expires_on=expires_on,
        made_by=by,
        made_at=at,
    )
    return Done(
        IssuedToken(token, word),
        subject=("person", by.username),
        after={"access token": name, "until": expires_on.isoformat()},
    )


@act("end_access_token")
def end_access_token(*, by: Person, at: datetime, reason: str, token: AccessToken) -> Done[AccessTokenEnd]:
    """End a word before its last day: from now on it opens nothing.

    Raises NotAuthorised for the word of somebody else, unless the person authorises people; WrongState when it is
    ended already.
    """
    if token.person_id != by.pk and not by.has_perm("labresults.authorise_person"):
        raise NotAuthorised(f"This word is that of {token.person}. Who authorises people may end it too.")
    if AccessTokenEnd.objects.filter(token=token).exists():
        raise WrongState(f"The word for {token.name} is ended already.")
    end = AccessTokenEnd.objects.create(token=token, reason=reason, made_by=by, made_at=at)
    return Done(end, subject=("person", token.person.username), after={"access token ended": token.name})
