"""A browser without a screen for each role, and a clock that stands still."""

from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from django.test import Client

from labresults.actions.people import enrol_person
from labresults.models import Person
from tests.builders import NOW, PASSWORD, Laboratory

TODAY = NOW + timedelta(days=1)
"""The day on which pages are looked at: the day after the builders' first."""


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> datetime:
    """Pages take the time from Django: it stands still at TODAY."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: TODAY)
    return TODAY


@pytest.fixture
def as_role(lab: Laboratory) -> Callable[[str], Client]:
    """Sign somebody in: `as_role("analyst")`; the role "client" is somebody of the laboratory's first client."""

    def signed_in(role: str) -> Client:
        client = Client()
        client.force_login(a_client_person(lab) if role == "client" else lab.people[role])
        return client

    return signed_in


def a_client_person(lab: Laboratory, sign_in: str = "brennan") -> Person:
    """Somebody of the laboratory's first client."""
    manager = lab.people["laboratory manager"]
    return enrol_person(
        by=manager,
        at=NOW,
        sign_in=sign_in,
        full_name="Oda Brennan",
        password=PASSWORD,
        roles=["client"],
        client=lab.client,
    )
