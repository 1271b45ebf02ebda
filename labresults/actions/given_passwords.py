"""A password given anew to somebody who forgot theirs: random, shown once, and changed before anything else is done."""

import logging
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.conf import settings
from django.core.mail import EmailMessage
from django.urls import reverse

from labresults.actions.second_factor import confirm_password, end_factor
from labresults.actions.signatures import counted_signature
from labresults.acts import BadInput, Done, NotAuthorised, WrongState, act
from labresults.models import Person

_GROUPS, _LETTERS = 4, "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"  # 80 bits, of which none look alike
_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class GivenPassword:
    """Somebody's new password. It is nowhere else, and cannot be shown again."""

    person: Person
    password: str = field(repr=False)

    def __str__(self) -> str:
        return str(self.person)


@contextmanager
def _counted_then_told(asked: str, *, person: Person, **named: Any) -> Iterator[None]:
    """As `counted_signature`; once it is done, whose account it is hears of it."""
    with counted_signature(asked, **named):
        yield
    _tell(person, named["by"])


@act("give_new_password", around=_counted_then_told)
def give_new_password(
    *, by: Person, at: datetime, reason: str, person: Person, password: str, without_second_factor: bool = False
) -> Done[GivenPassword]:
    """Give somebody who forgot theirs a random password, by which they sign in once and choose their own.

    Whoever is signed in with their name is signed out. Their words for programs stay, which stand on no password.
    password: of whoever gives it. without_second_factor: theirs is turned off too, where the device is lost as well.

    Raises BadInput without a reason, NotAuthorised for a wrong password or for oneself, WrongState for somebody who
    may not sign in, or who has no second factor to turn off.
    """
    if not reason.strip():
        raise BadInput("Say why, and how you know that it is they who ask.")
    confirm_password(by, password, "nothing was changed")
    if person.pk == by.pk:
        raise NotAuthorised("Your own password you change on the page Your account, by the one that you have.")
    of = Person.objects.get(pk=person.pk)
    if not of.is_active:
        raise WrongState(f"{of} may not sign in any more.")
    given = _random()
    of.set_password(given)
    of.password_is_given = True
    of.save(update_fields=["password", "password_is_given"])
    said = {"password": "given anew, to be changed at the first sign-in"}
    if without_second_factor:
        end_factor(of, by, at, reason.strip())
        said["second factor"] = "off"
    return Done(GivenPassword(of, given), subject=("person", of.username), after=said)


def _random() -> str:
    return "-".join("".join(secrets.choice(_LETTERS) for _ in range(4)) for _ in range(_GROUPS))


def _tell(person: Person, by: Person) -> None:
    """A letter to whose account it is, without the password: a letter may be read by anybody on its way."""
    if not person.email:
        return
    words = (
        f"To {person}\n\n{by} gave your account {person.username} a new password, since it was said that you forgot"
        f" yours. It is not in this letter: {by} tells you. Whoever was signed in with your name is not any more.\n\n"
        f"Sign in with it and choose your own: {settings.ADDRESS}{reverse('sign-in')}\n\n"
        "If you did not ask for it, tell the laboratory at once.\n"
    )
    try:
        EmailMessage("A new password for your account", words, to=[person.email]).send()
    except Exception:  # whatever a mail server says: the password is given, and whoever gave it was told to tell
        _log.exception("%s could not be told of a new password.", person.username)
