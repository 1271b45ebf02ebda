"""Tries that come together count as many as they are: in threads, and in processes of their own."""

import os
import subprocess
import sys
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection

from labresults.actions.attempts import Limit, TooMany, count_try, forget_tries, give_try_back
from labresults.actions.people import change_password
from labresults.models import Attempt, AuditEvent
from labresults.queries.history import broken_link
from tests.builders import NOW, PASSWORD, Laboratory
from tests.house.test_concurrency import at_once

pytestmark = pytest.mark.django_db(transaction=True)

DOOR = [Limit("door", 10), Limit("house", 50, is_shared=True)]


def test_fifteen_at_once_get_ten_tries() -> None:
    came = at_once(*[lambda: count_try(DOOR, NOW)] * 15)
    assert sum(isinstance(one, TooMany) for one in came) == 5
    assert sorted(one.left for one in came if not isinstance(one, TooMany)) == list(range(10))
    assert dict(Attempt.objects.values_list("key", "failures")) == {"door": 10, "house": 10}


def test_what_is_given_back_at_once_is_there_again() -> None:
    for _ in range(9):
        count_try(DOOR, NOW)
    at_once(*[lambda: (count_try(DOOR, NOW), give_try_back(DOOR))] * 1)
    at_once(*[lambda: give_try_back(DOOR)] * 6)
    assert dict(Attempt.objects.values_list("key", "failures")) == {"door": 3, "house": 3}
    forget_tries(DOOR)
    assert dict(Attempt.objects.values_list("key", "failures")) == {"house": 2}


def test_two_browsers_at_once_get_five_passwords_and_no_more(lab: Laboratory) -> None:
    def sign(password: str) -> Callable[[], Any]:
        who = {"by": lab.people["reviewer"], "at": NOW}
        return lambda: change_password(password=password, new_password="another road 1912", **who)  # type: ignore[arg-type]

    events = AuditEvent.objects.count()
    came = [str(one) for one in at_once(*[sign("guess")] * 8)]
    assert sum("not right" in words for words in came) == 5
    assert sum("Too many" in words for words in came) == 3
    assert AuditEvent.objects.filter(act="note_failed_signature").count() == AuditEvent.objects.count() - events == 5
    assert broken_link() is None
    assert all("Too many" in str(one) for one in at_once(sign(PASSWORD), sign(PASSWORD)))


PROGRAM = """
import django
django.setup()
from datetime import datetime
from labresults.actions.attempts import Limit, TooMany, count_try
done = 0
for _ in range(8):
    try:
        count_try([Limit("door", 10)], datetime.fromisoformat("{now}"))
        done += 1
    except TooMany:
        pass
print(done)
"""


def test_two_processes_at_once_count_right() -> None:
    """Two workers of the site: together they let ten tries through, not twenty."""
    url = f"sqlite:///{connection.settings_dict['NAME']}"
    if connection.vendor == "postgresql":
        at = connection.settings_dict
        url = f"postgres://{at['USER']}:{at['PASSWORD']}@{at['HOST'] or 'localhost'}:{at['PORT'] or 5432}/{at['NAME']}"
    count_try([Limit("other", 1)], NOW - timedelta(hours=30))  # an old row, which both would sweep away
    workers = [
        subprocess.Popen(
            [sys.executable, "-c", PROGRAM.format(now=NOW.isoformat())],
            env=os.environ | {"DJANGO_SETTINGS_MODULE": "labresults.config.settings", "DATABASE_URL": url},
            stdout=subprocess.PIPE,
            text=True,
        )
        for _ in range(2)
    ]
    said = [int(worker.communicate(timeout=60)[0]) for worker in workers]
    assert sum(said) == 10
    assert dict(Attempt.objects.values_list("key", "failures")) == {"door": 10}
