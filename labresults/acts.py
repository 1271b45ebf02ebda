"""Every act: one function, one transaction, one permission check, one audit event, in this order.

An act is written as `@act("verb_noun")` over a function that returns `Done`. The event is written from it, so that an
act without an event cannot be: a body that returns anything else is undone. Acts never call acts.
"""

from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from datetime import date, datetime
from functools import wraps
from typing import Any, Generic, ParamSpec, TypeVar

from django.db import connection, transaction
from django.db.models import Q

from labresults import audit
from labresults.garbage import collecting_later
from labresults.models import AuditEvent, Authorisation, Method, Person
from labresults.terms import Task

T = TypeVar("T")
P = ParamSpec("P")

ACTS: dict[str, Callable[..., Any]] = {}
"""Every act by its name, which is also the codename of its permission."""

_PEN = 0x6C6162  # the advisory lock that stands for the pen


class Refusal(Exception):
    """An act that may not be done, in words for the person who asked. Not a fault of the program."""


class NotAuthorised(Refusal):
    """The person may not do this."""


class WrongState(Refusal):
    """The thing is not in a state in which this can be done."""


class BadInput(Refusal):
    """What was given cannot be taken; `problems` says what, where and what to do, one by one."""

    def __init__(self, message: str, problems: tuple[Any, ...] = ()) -> None:
        super().__init__(message)
        self.problems = problems


@dataclass(frozen=True)
class Done(Generic[T]):
    """What an act did: the value for its caller, and what the audit event says."""

    value: T
    subject: tuple[str, str]  # kind and public number
    after: Mapping[str, Any]
    before: Mapping[str, Any] | None = None


def act(
    name: str,
    *,
    prepare: Callable[..., Any] | None = None,
    around: Callable[..., AbstractContextManager[None]] | None = None,
) -> Callable[[Callable[..., Done[T]]], Callable[..., T]]:
    """Make an act of a function with keyword arguments `by`, `at` and `reason`.

    prepare: called with the same arguments before the transaction, for what is slow (parsing, evaluation, rendering);
    what it returns is handed to the body as `prepared`. The body checks again, under the lock, what may have changed.
    around: given the act's name and the same arguments, what stands around it all, outside of its transaction: for what
    must stay where the act is undone, such as the count of wrong passwords.
    """

    def decorate(body: Callable[..., Done[T]]) -> Callable[..., T]:
        @wraps(body)
        def performed(*args: Any, by: Person, at: datetime, reason: str = "", **named: Any) -> T:
            if at.tzinfo is None:
                raise ValueError("`at` needs a time zone.")
            require(by, name)
            with around(name, by=by, at=at, **named) if around else nullcontext(), collecting_later():
                return _perform(*args, by=by, at=at, reason=reason, **named)

        def _perform(*args: Any, by: Person, at: datetime, reason: str, **named: Any) -> T:
            if prepare is not None:
                named["prepared"] = prepare(*args, by=by, at=at, reason=reason, **named)
            with transaction.atomic(durable=True):
                _take_pen()
                # Anew: what the object remembers of its roles is from before the lock.
                require(Person.objects.get(pk=by.pk), name)
                done = body(*args, by=by, at=at, reason=reason, **named)
                if not isinstance(done, Done):
                    raise TypeError(f"The act {name} does not say what it did.")
                audit.write(
                    by=by, at=at, act=name, subject=done.subject, why=reason, before=done.before, after=done.after
                )
            return done.value

        return _enlist(name, performed)

    return decorate


def founding_act(name: str) -> Callable[[Callable[..., Done[Person]]], Callable[..., Person]]:
    """Make the act that begins the chain: its body returns the first person, who is the one who did it.

    Nobody can have been given a role before it, so it asks for none; it refuses once there is any event.
    """

    def decorate(body: Callable[..., Done[Person]]) -> Callable[..., Person]:
        @wraps(body)
        def performed(*, at: datetime, reason: str = "", **named: Any) -> Person:
            with transaction.atomic(durable=True):
                _take_pen()
                if AuditEvent.objects.exists():
                    raise WrongState("The laboratory is founded already: somebody with a role must do this.")
                done = body(at=at, reason=reason, **named)
                audit.write(
                    by=done.value, at=at, act=name, subject=done.subject, why=reason, before=None, after=done.after
                )
            return done.value

        return _enlist(name, performed)

    return decorate


def _enlist(name: str, performed: Callable[..., T]) -> Callable[..., T]:
    if name in ACTS:
        raise TypeError(f"There are two acts named {name}.")
    ACTS[name] = performed
    return performed


def require(person: Person, act_name: str) -> None:
    """Refuse unless the person's roles hold the permission of the act. Raises NotAuthorised."""
    if not person.is_active or not person.has_perm(f"labresults.{act_name}"):
        raise NotAuthorised(f"{person} may not {act_name.replace('_', ' ')}: none of their roles allows it.")


def require_task(person: Person, task: Task, method: Method, on: date) -> None:
    """Refuse unless the person is authorised for the task with the method on that day (ISO/IEC 17025:2017, 6.2.6)."""
    current = Authorisation.objects.filter(
        Q(method=method) | Q(method__isnull=True),
        Q(valid_to__gte=on) | Q(valid_to__isnull=True),
        person=person,
        task=task,
        valid_from__lte=on,
    )
    if not current.exists():
        raise NotAuthorised(f"{person} is not authorised to {task} with {method} on {on.isoformat()}.")


def _take_pen() -> None:
    """One writer at a time. SQLite's immediate transaction is that already."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("select pg_advisory_xact_lock(%s)", [_PEN])
