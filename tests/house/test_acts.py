"""An act is one transaction, one permission check and one audit event; without an event it is undone."""

import gc
from datetime import datetime

import pytest
from django.db import connection

from labresults.actions.people import enrol_person, found_laboratory
from labresults.acts import ACTS, BadInput, Done, NotAuthorised, WrongState, act
from labresults.models import AuditEvent, Client, Person
from labresults.queries.history import broken_link
from tests.builders import PASSWORD


def test_an_act_leaves_one_event_that_says_who_when_what_and_why(founder: Person, now: datetime) -> None:
    before = AuditEvent.objects.count()

    enrol_person(
        by=founder, at=now, reason="new here", sign_in="roe", full_name="Sunniva Roe", password=PASSWORD,
        roles=["analyst"],
    )  # fmt: skip

    assert AuditEvent.objects.count() == before + 1
    event = AuditEvent.objects.latest("seq")
    assert (event.person, event.at, event.act, event.subject) == (founder, now, "enrol_person", "roe")
    assert '"why":"new here"' in event.content
    assert PASSWORD not in event.content
    assert broken_link() is None


def test_nobody_acts_without_the_role(people: dict[str, Person], now: datetime) -> None:
    before = AuditEvent.objects.count()
    with pytest.raises(NotAuthorised, match="may not enrol person"):
        enrol_person(by=people["analyst"], at=now, sign_in="x", full_name="X Y", password=PASSWORD, roles=["reviewer"])
    assert AuditEvent.objects.count() == before
    assert not Person.objects.filter(username="x").exists()


def test_somebody_who_left_does_nothing_more(people: dict[str, Person], now: datetime) -> None:
    manager = people["laboratory manager"]
    manager.is_active = False
    manager.save()
    with pytest.raises(NotAuthorised):
        enrol_person(by=manager, at=now, sign_in="x", full_name="X Y", password=PASSWORD, roles=["reviewer"])


def test_the_laboratory_is_founded_once(founder: Person, now: datetime) -> None:
    with pytest.raises(WrongState, match="founded already"):
        found_laboratory(
            at=now, name="B", address="", place_of_work="", prefix="B", time_zone="UTC", sign_in="b", full_name="B B",
            password=PASSWORD,
        )  # fmt: skip


def test_an_act_that_does_not_say_what_it_did_is_undone(founder: Person, now: datetime) -> None:
    @act("enrol_person_silently")
    def silent(*, by: Person, at: datetime, reason: str) -> Done[None]:
        Client.objects.create(code="ghost", name="Ghost")
        return None  # type: ignore[return-value]

    before = AuditEvent.objects.count()
    try:
        Person.objects.filter(pk=founder.pk).update(is_superuser=True)
        founder.refresh_from_db()
        with pytest.raises(TypeError, match="does not say what it did"):
            silent(by=founder, at=now)
    finally:
        del ACTS["enrol_person_silently"]
    assert not Client.objects.filter(code="ghost").exists()
    assert AuditEvent.objects.count() == before


def test_a_time_without_a_zone_is_refused(founder: Person) -> None:
    with pytest.raises(ValueError, match="time zone"):
        enrol_person(
            by=founder, at=datetime(2026, 1, 1), sign_in="x", full_name="X Y", password=PASSWORD, roles=["reviewer"]
        )


def test_two_acts_never_share_a_name() -> None:
    with pytest.raises(TypeError, match="two acts"):
        act("enrol_person")(lambda **_: Done(None, ("x", "y"), {}))


@pytest.mark.parametrize("raw", ["update", "delete", "slip in"])
def test_tampering_with_the_chain_behind_the_guards_is_found(
    people: dict[str, Person], raw: str, now: datetime
) -> None:
    from labresults import guards  # noqa: PLC0415

    guards.remove(connection)
    third = AuditEvent.objects.get(seq=3)
    if raw == "update":
        AuditEvent.objects.filter(seq=3).update(content=third.content.replace("preparer", "auditor"))
    elif raw == "delete":
        AuditEvent.objects.filter(seq=3).delete()
    else:
        AuditEvent.objects.create(
            seq=10_000, at=now, person=third.person, act="enrol_person", subject_kind="person", subject="y",
            content="{}", previous="a" * 64, sha256="b" * 64,
        )  # fmt: skip
    found = broken_link()
    assert found is not None
    assert found.seq == (3 if raw != "slip in" else AuditEvent.objects.count())


def test_roles_name_only_acts_that_exist() -> None:
    import reports.actions  # noqa: F401, PLC0415

    named = frozenset().union(*acts_of_roles())
    assert named <= set(ACTS) | {"found_laboratory"}
    assert set(ACTS) - {"found_laboratory"} <= named, "an act that no role may do"


def acts_of_roles() -> list[frozenset[str]]:
    from labresults.roles import ROLES  # noqa: PLC0415

    return list(ROLES.values())


def test_garbage_is_collected_again_after_an_act_and_after_a_refusal(people: dict[str, Person], now: datetime) -> None:
    given = {"at": now, "sign_in": "x", "full_name": "X Y", "password": PASSWORD, "roles": ["reviewer"]}
    enrol_person(by=people["laboratory manager"], **given)
    assert gc.isenabled()
    with pytest.raises(BadInput):
        enrol_person(by=people["laboratory manager"], **given)
    assert gc.isenabled()


@pytest.mark.parametrize("left", [{"is_active": False}, {}], ids=["somebody who left", "without a role any more"])
def test_what_an_object_remembers_of_its_roles_does_not_count(
    left: dict[str, bool], people: dict[str, Person], now: datetime
) -> None:
    # given somebody whose roles were looked at, and who loses them, or leaves, in another process
    manager = people["laboratory manager"]
    assert manager.has_perm("labresults.enrol_person")
    elsewhere = Person.objects.get(pk=manager.pk)
    if left:
        Person.objects.filter(pk=manager.pk).update(**left)
    else:
        elsewhere.groups.clear()
    # then the act asks anew, and refuses
    with pytest.raises(NotAuthorised, match="may not enrol person"):
        enrol_person(by=manager, at=now, sign_in="x", full_name="X Y", password=PASSWORD, roles=["reviewer"])
    assert not Person.objects.filter(username="x").exists()
