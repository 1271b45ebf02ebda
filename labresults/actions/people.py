"""The laboratory is founded; people are enrolled and authorised."""

from datetime import date, datetime
from typing import Any

from django.contrib.auth.models import Group
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from labresults.actions.second_factor import confirm_password
from labresults.actions.signatures import counted_signature
from labresults.acts import BadInput, Done, act, founding_act
from labresults.models import Authorisation, Client, Laboratory, Method, Person
from labresults.roles import ROLES
from labresults.terms import Task


@founding_act("found_laboratory")
def found_laboratory(
    *,
    at: datetime,
    reason: str,
    name: str,
    address: str,
    place_of_work: str,
    prefix: str,
    time_zone: str,
    sign_in: str,
    full_name: str,
    password: str,
    invented: bool = False,
) -> Done[Person]:
    """Enter the laboratory and its first person, who is quality manager and laboratory manager at first.

    Raises WrongState when there is an event already, BadInput when the password is too weak.
    """
    person = _new_person(sign_in, full_name, password, ["quality manager", "laboratory manager"], None)
    laboratory = Laboratory.objects.create(
        pk=1,
        name=name,
        address=address,
        place_of_work=place_of_work,
        prefix=prefix,
        time_zone=time_zone,
        invented=invented,
    )
    return Done(
        person,
        subject=("laboratory", laboratory.name),
        after={"name": name, "prefix": prefix, "time zone": time_zone, "first person": sign_in},
    )


@act("enrol_person")
def enrol_person(
    *,
    by: Person,
    at: datetime,
    reason: str,
    sign_in: str,
    full_name: str,
    password: str,
    roles: list[str],
    client: Client | None = None,
    email: str = "",
) -> Done[Person]:
    """Enrol somebody with roles; a client's person has the role client and belongs to that client.

    email: where they are told of certificates that they fetched.
    Raises BadInput for an unknown role, a weak password, a sign-in that is taken, or a client's person without client.
    """
    person = _new_person(sign_in, full_name, password, roles, client, email)
    return Done(
        person,
        subject=("person", sign_in),
        after={"name": full_name, "roles": sorted(roles), "client": client.code if client else None},
    )


@act("change_password", around=counted_signature)
def change_password(*, by: Person, at: datetime, reason: str, password: str, new_password: str) -> Done[Person]:
    """Change one's own password; every other session of the person ends by it, since sessions stand on the password.

    Raises NotAuthorised for a wrong password, BadInput for a new one that is weak, or no new one.
    """
    confirm_password(by, password, "nothing was changed")
    if new_password == password:
        raise BadInput("That is the password that you have. Choose another one.")
    _check_password(new_password, by)
    by.set_password(new_password)
    by.password_is_given = False
    by.save(update_fields=["password", "password_is_given"])
    return Done(by, subject=("person", by.username), after={"password": "changed"})


@act("authorise_person")
def authorise_person(
    *,
    by: Person,
    at: datetime,
    reason: str,
    person: Person,
    task: Task,
    valid_from: date,
    valid_to: date | None = None,
    method: Method | None = None,
) -> Done[Authorisation]:
    """Authorise somebody for a task with one method, or with all of them (ISO/IEC 17025:2017, 6.2.6)."""
    row = Authorisation.objects.create(
        person=person,
        task=task,
        method=method,
        valid_from=valid_from,
        valid_to=valid_to,
        reason=reason,
        made_by=by,
        made_at=at,
    )
    return Done(
        row,
        subject=("person", person.username),
        after={
            "task": str(task),
            "method": method.code if method else "every method",
            "from": valid_from.isoformat(),
            "to": valid_to.isoformat() if valid_to else None,
        },
    )


def _new_person(
    sign_in: str, full_name: str, password: str, roles: list[str], client: Client | None, email: str = ""
) -> Person:
    unknown = sorted(set(roles) - set(ROLES))
    if unknown:
        raise BadInput(f"There is no role {', '.join(unknown)}. The roles are {', '.join(ROLES)}.")
    if (client is not None) != (roles == ["client"]):
        raise BadInput("A client's person has the role client, no other role, and names the client.")
    if Person.objects.filter(username=sign_in).exists():
        raise BadInput(f"Somebody signs in as {sign_in} already. Choose another name.")
    first, _, last = full_name.rpartition(" ")
    person = Person(username=sign_in, first_name=first, last_name=last, client=client, email=email)
    _check_password(password, person)
    person.set_password(password)
    person.save()
    person.groups.set(Group.objects.filter(name__in=roles))
    return person


def _check_password(password: str, person: Any) -> None:
    try:
        validate_password(password, person)
    except ValidationError as error:
        raise BadInput(" ".join(error.messages)) from error
