"""A signature is limited: who fails too often waits, and each failure is on record although nothing was signed."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import Any

from labresults.actions.attempts import Limit, TooMany, Tries, count_try, forget_tries, give_try_back, limit, when
from labresults.acts import Done, NotAuthorised, act
from labresults.models import Person

MOST_FAILURES = 5
"""Of one person, within 15 minutes (common practice, no source); then nothing is taken for 15 minutes."""


class NotShown(NotAuthorised):
    """Who asks has not shown who they are: a wrong password, or a wrong code."""

    def __init__(self, wrong: str, words: str) -> None:
        super().__init__(words)
        self.wrong = wrong


@act("note_failed_signature")
def note_failed_signature(
    *, by: Person, at: datetime, reason: str, asked: str, wrong: str, until: datetime | None = None
) -> Done[None]:
    """Put on record that somebody signed in gave a wrong password or code, and what they asked for.

    asked: name of the act; wrong: "password" or "code"; until: when another try is taken, after the last one.
    """
    said = {"asked for": asked.replace("_", " "), "wrong": wrong}
    waits = {"waits until": until.isoformat()} if until else {}
    return Done(None, subject=("person", by.username), after=said | waits)


@contextmanager
def counted_signature(asked: str, *, by: Person, at: datetime, **_: Any) -> Iterator[None]:
    """Stands around an act that asks for the password again: its failures are counted even though it is undone.

    Raises NotAuthorised, before anything is looked at, where too many failed.
    """
    with _counted(limit("signature", by.pk, MOST_FAILURES), asked, by, at):
        yield


@contextmanager
def counted_code(asked: str, *, by: Person, at: datetime, device: str = "", **_: Any) -> Iterator[None]:
    """As `counted_signature`, around the six digits at the door. device: a browser that was let in before."""
    with _counted(limit("code", f"{by.pk} {device}", MOST_FAILURES), asked, by, at):
        yield


@contextmanager
def _counted(one: Limit, asked: str, by: Person, at: datetime) -> Iterator[None]:
    try:
        tries = count_try([one], at)
    except TooMany as many:
        raise NotAuthorised(
            f"Too many wrong passwords or codes: nothing is taken in your name before {many.when}. If it was not you"
            " who tried, change your password and tell the laboratory manager."
        ) from many
    try:
        yield
    except NotShown as wrong:
        note_failed_signature(by=by, at=at, asked=asked, wrong=wrong.wrong, until=tries.until)
        raise NotAuthorised(f"{wrong} {_left(tries, at)}") from wrong
    except BaseException:
        give_try_back([one])
        raise
    forget_tries([one])


def _left(tries: Tries, at: datetime) -> str:
    if tries.until is None:
        return f"{tries.left} more {'try' if tries.left == 1 else 'tries'}, then nothing is taken for a while."
    return f"That was the last try: nothing is taken before {when(tries.until, at)}."
