"""The database, people with roles, and a fixed now."""

import os
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from django.core.cache import cache
from django.db import connection

from labresults import guards
from labresults.actions.people import enrol_person, found_laboratory
from labresults.models import Person
from labresults.roles import ROLES

os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")  # the browser's driver keeps an event loop in this thread

NOW = datetime(2026, 11, 16, 8, 0, tzinfo=UTC)
PASSWORD = "gravel road 1911"


@pytest.fixture
def now() -> datetime:
    return NOW


@pytest.fixture(autouse=True)
def _fresh_cache() -> None:
    cache.clear()


@pytest.fixture(autouse=True)
def _quick_passwords(settings: object) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # type: ignore[attr-defined]


@pytest.fixture(autouse=True)
def _guards_step_aside_for_flush(request: pytest.FixtureRequest) -> Iterator[None]:
    """Tests with real commits empty all tables afterwards; the guards refuse that, and come back with the flush."""
    yield
    if "transactional_db" in request.fixturenames:
        guards.remove(connection)


@pytest.fixture
def founder(db: None) -> Person:
    return found_laboratory(
        at=NOW,
        name="Kestrel Flat Laboratory",
        address="Gravel Road\nKestrel Flat",
        place_of_work="Gravel Road, Kestrel Flat",
        prefix="KF",
        time_zone="UTC",
        sign_in="quill",
        full_name="Marta Quill",
        password=PASSWORD,
        invented=True,
    )


@pytest.fixture
def people(founder: Person) -> dict[str, Person]:
    """One person for each role of the laboratory, by role."""
    return {
        role: enrol_person(
            by=founder,
            at=NOW,
            sign_in=role.replace(" ", "-"),
            full_name=f"{role.title()} Person",
            password=PASSWORD,
            roles=[role],
        )
        for role in ROLES
        if role != "client"
    }
