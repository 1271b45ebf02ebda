"""The database, people with roles, and a fixed now."""

import os
from collections.abc import Iterator
from datetime import datetime
from importlib import import_module
from pathlib import Path

import hypothesis
import pytest
from django.apps import apps
from django.core.cache import cache, caches
from django.db import connection

from labresults import guards
from labresults.actions.people import enrol_person, found_laboratory
from labresults.models import Element, Person
from labresults.roles import ROLES
from reports.signing.keys import make_key
from tests.builders import NOW, PASSWORD, Laboratory, a_laboratory

# A machine that is busy makes no property untrue; where everything must come out the same twice, examples do too.
hypothesis.settings.register_profile("ours", deadline=None, derandomize=os.environ.get("CI") == "true")
hypothesis.settings.load_profile("ours")
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")  # the browser's driver keeps an event loop in this thread


@pytest.fixture
def now() -> datetime:
    return NOW


@pytest.fixture(autouse=True)
def _fresh_cache() -> None:
    cache.clear()
    caches["progress"].clear()


@pytest.fixture(autouse=True)
def _drawn_at_once(settings: object) -> None:
    """Pages draw a certificate before they answer; what a thread does is tested by itself."""
    settings.DRAWING = "at once"  # type: ignore[attr-defined]


@pytest.fixture(scope="session")
def signing_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a signing key of its own, made once."""
    folder = tmp_path_factory.mktemp("keys")
    make_key(folder, laboratory="Kestrel Flat Laboratory", at=NOW)
    return folder


@pytest.fixture(autouse=True)
def _own_signing_key(settings: object, signing_folder: Path) -> None:
    settings.KEYS, settings.KEY_PASSPHRASE = signing_folder, ""  # type: ignore[attr-defined]


@pytest.fixture(autouse=True)
def _quick_passwords(settings: object) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # type: ignore[attr-defined]


@pytest.fixture(autouse=True)
def _guards_step_aside_for_flush(request: pytest.FixtureRequest) -> Iterator[None]:
    """Tests with real commits empty all tables afterwards; the guards refuse that, and come back with the flush.

    The flush also takes the elements that a migration made: they are put back before the next of these tests.
    """
    mark = request.node.get_closest_marker("django_db")
    commits = "transactional_db" in request.fixturenames or bool(mark and mark.kwargs.get("transaction"))
    if commits:
        request.getfixturevalue("transactional_db")
        if not Element.objects.exists():
            with connection.schema_editor() as editor:
                import_module("labresults.migrations.0002_elements").add_elements(apps, editor)
    yield
    if commits:
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


@pytest.fixture
def lab(founder: Person) -> Laboratory:
    """A laboratory with one method, ready to work."""
    return a_laboratory(founder)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what uses the database: those tests run again on PostgreSQL, the pure ones once."""
    for item in items:
        fixtures = set(getattr(item, "fixturenames", ()))
        if fixtures & {"db", "transactional_db"} or item.get_closest_marker("django_db"):
            item.add_marker(pytest.mark.uses_database)
