"""A full disk is said to be that, and nothing else is: whoever makes room for nothing looks in the wrong place."""

import logging
import sqlite3

import psycopg.errors
import pytest
from django.db import DatabaseError, IntegrityError, OperationalError

from labresults.acts import Refusal
from reports import issuing
from reports.actions import certificates as acts
from reports.issuing import draw, means_no_room, progress_of, tell
from reports.models import Certificate
from tests.builders import Laboratory, a_certificate, a_submission, an_evaluated_run, approved


def really_full() -> OperationalError:
    """What Django makes of a database of SQLite that may not grow, and did."""
    database = sqlite3.connect(":memory:")
    database.execute("pragma max_page_count = 1")
    with pytest.raises(sqlite3.OperationalError) as full:
        database.execute("create table t (a)")
    return caused(OperationalError(str(full.value)), full.value)


def caused(fault: DatabaseError, cause: Exception) -> DatabaseError:
    fault.__cause__ = cause
    return fault


NO_ROOM = {
    "a full disk": OSError(28, "No space left on device"),
    "somebody's share is full": OSError(122, "Disk quota exceeded"),
    "SQLite": really_full(),
    "PostgreSQL": caused(OperationalError("could not extend file"), psycopg.errors.DiskFull("could not extend file")),
}
FAULTS = {
    "no such file": FileNotFoundError(2, "No such file or directory"),
    "no permission": PermissionError(13, "Permission denied"),
    "no answer": TimeoutError("timed out"),
    "SQLite is locked": OperationalError("database is locked"),
    "the connection is lost": caused(OperationalError("closed"), psycopg.errors.AdminShutdown("closed")),
    "a fault of the program": IntegrityError("UNIQUE constraint failed"),
    "only its words": DatabaseError("database or disk is full"),
    "none of these": ValueError("full"),
}


@pytest.mark.parametrize("name", [*NO_ROOM, *FAULTS])
def test_what_means_that_there_is_no_room(name: str) -> None:
    assert means_no_room({**NO_ROOM, **FAULTS}[name]) is (name in NO_ROOM)


@pytest.fixture
def frozen(lab: Laboratory, monkeypatch: pytest.MonkeyPatch) -> Certificate:
    """A certificate that is not drawn yet, and is drawn at once when it is."""
    monkeypatch.setattr(acts, "registered_key", lambda at: None)
    monkeypatch.setattr(acts, "signed", lambda pdf, document, at: pdf)
    monkeypatch.setattr(acts, "draw_files", lambda document, progress: {"pdf": b"%PDF"})
    submission = a_submission(lab, 1)
    an_evaluated_run(lab, submission)
    return a_certificate(lab, approved(lab, submission), draw=False)


def failing(monkeypatch: pytest.MonkeyPatch, where: object, name: str, fault: Exception) -> None:
    def fails(*_: object, **__: object) -> None:
        raise fault

    monkeypatch.setattr(where, name, fails)


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        (NO_ROOM["SQLite"], "It could not be kept: database or disk is full. Make room, then draw it again."),
        (FAULTS["no permission"], "It could not be drawn: PermissionError: [Errno 13] Permission denied. What is"),
        (FAULTS["SQLite is locked"], "It could not be drawn: OperationalError: database is locked. What is"),
    ],
)
def test_drawing_says_which_it_was(
    fault: Exception, said: str, lab: Laboratory, frozen: Certificate, monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:  # fmt: skip
    failing(monkeypatch, acts, "draw_files", fault)
    with caplog.at_level(logging.ERROR):
        assert draw(frozen.pk, lab.people["issuer"], lab.later).startswith(said)
    assert progress_of(frozen.pk).trouble.startswith(said)
    assert [record.exc_info[1] for record in caplog.records if record.exc_info] == [fault]


def test_telling_says_that_there_is_no_room_and_raises_what_is_a_fault(
    lab: Laboratory, frozen: Certificate, monkeypatch: pytest.MonkeyPatch
) -> None:
    by = lab.people["issuer"]
    failing(monkeypatch, issuing, "notify_client", NO_ROOM["PostgreSQL"])
    assert "could not be told: could not extend file. Send it again" in tell(frozen, by, lab.later)
    failing(monkeypatch, issuing, "notify_client", Refusal("Nobody is named."))
    assert tell(frozen, by, lab.later) == "Nobody is named."
    failing(monkeypatch, issuing, "notify_client", FAULTS["a fault of the program"])
    with pytest.raises(IntegrityError):
        tell(frozen, by, lab.later)


def test_what_is_drawn_stands_though_its_client_could_not_be_told(
    lab: Laboratory, frozen: Certificate, monkeypatch: pytest.MonkeyPatch
) -> None:
    failing(monkeypatch, issuing, "notify_client", FAULTS["a fault of the program"])
    trouble = draw(frozen.pk, lab.people["issuer"], lab.later)
    assert trouble.startswith("It is drawn, but its client was not told: IntegrityError: UNIQUE constraint failed.")
    assert frozen.files.exists()
    assert progress_of(frozen.pk).word == "nobody"
