"""One certificate or none: two people at once, a process that dies in the middle, a full disk; on both databases."""

import hashlib
import os
import random
import signal
import subprocess
import sys
from collections.abc import Callable
from threading import local
from typing import Any

import pytest
from django.conf import settings as ours
from django.core.management import call_command
from django.db import DatabaseError, OperationalError, connection, connections

from labresults.acts import Refusal, WrongState
from labresults.models import AuditEvent, Submission
from labresults.queries.history import broken_link
from reports import issuing
from reports.actions import certificates as acts
from reports.models import Certificate, CertificateFile, CertificateLine
from tests.builders import NOW, Laboratory, a_submission, an_evaluated_run, approved
from tests.house.test_concurrency import at_once

pytestmark = pytest.mark.django_db(transaction=True)

_this = local()


@pytest.fixture
def quick_drawing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Drawing takes seconds and is tested elsewhere: here a file is the document itself."""

    def drawn(document: Any, progress: Any = None) -> dict[str, bytes]:
        if getattr(_this, "disk_is_full_for_drawing", False):
            raise OSError(28, "No space left on device")
        return {"pdf": document.to_json().encode(), "json": document.to_json().encode()}

    monkeypatch.setattr(acts, "draw_files", drawn)
    monkeypatch.setattr(acts, "registered_key", lambda at: None)
    monkeypatch.setattr(acts, "signed", lambda pdf, document, at: pdf)


@pytest.fixture
def no_room(monkeypatch: pytest.MonkeyPatch) -> None:
    """A thread that says so finds no room for the printed lines, or for the second of the files."""
    lines, files = CertificateLine.objects.bulk_create, CertificateFile.objects.create

    def kept_lines(rows: Any, *args: Any, **named: Any) -> Any:
        if getattr(_this, "no_room_for_lines", False):
            raise DatabaseError("database or disk is full")
        return lines(rows, *args, **named)

    def kept_file(**named: Any) -> Any:
        if getattr(_this, "no_room_for_files", False) and named["kind"] != "pdf":
            raise DatabaseError("database or disk is full")
        return files(**named)

    monkeypatch.setattr(CertificateLine.objects, "bulk_create", kept_lines)
    monkeypatch.setattr(CertificateFile.objects, "create", kept_file)


def ready(lab: Laboratory, count: int) -> list[Submission]:
    """So many submissions, approved whole."""
    found = []
    for number in range(count):
        submission = a_submission(lab, 1, names=[f"core {number}"])
        an_evaluated_run(lab, submission)
        found.append(approved(lab, submission))
    return found


def issue(lab: Laboratory, submission: Submission, form_key: str | None = None, trouble: str = "") -> Callable[[], Any]:
    """Freeze the certificate, then draw it and make it public, as a page does; with some trouble on the way."""

    def done() -> Any:
        for name in ("no_room_for_lines", "no_room_for_files", "disk_is_full_for_drawing"):
            setattr(_this, name, name == trouble)
        issuer = lab.people["issuer"]
        try:
            certificate = acts.issue_certificate(
                by=issuer, at=NOW, submission=submission, rule_set=lab.rule_set, form_key=form_key
            )
            acts.publish_certificate(by=issuer, at=NOW, certificate=certificate)
        except (DatabaseError, OSError, Refusal) as fault:
            return fault
        return certificate

    return done


def check_numbers_and_bytes() -> None:
    """No gap and no double in the numbers, one certificate a submission, all files or none, every hash met."""
    numbers = list(Certificate.objects.order_by("pk").values_list("number", flat=True))
    assert numbers == [f"C26-{place:04d}" for place in range(1, len(numbers) + 1)]
    submissions = list(Certificate.objects.values_list("submission", flat=True))
    assert len(submissions) == len(set(submissions))
    for certificate in Certificate.objects.all():
        assert certificate.files.count() in (0, 2)
        assert certificate.lines.exists()
        assert hashlib.sha256(certificate.document.encode()).hexdigest() == certificate.document_sha256
        for file in certificate.files.all():
            assert hashlib.sha256(bytes(file.content)).hexdigest() == file.sha256
    events = AuditEvent.objects.filter(act__in=["issue_certificate", "publish_certificate"]).count()
    assert events == len(numbers) + CertificateFile.objects.values("certificate").distinct().count()
    assert broken_link() is None


@pytest.mark.usefixtures("quick_drawing", "no_room")
@pytest.mark.parametrize("seed", range(6))
def test_whatever_happens_at_once_there_is_one_certificate_or_none(seed: int, lab: Laboratory) -> None:
    """Given four submissions, each issued three times at once with troubles drawn by a seed, then once more each."""
    chance = random.Random(seed)
    submissions = ready(lab, 4)
    troubles = ["", "", "no_room_for_lines", "no_room_for_files", "disk_is_full_for_drawing"]
    asked = [
        issue(lab, submission, chance.choice([None, f"form {submission}"]), chance.choice(troubles))
        for submission in submissions
        for _ in range(3)
    ]
    chance.shuffle(asked)

    came = [*at_once(*asked[:6]), *at_once(*asked[6:])]

    assert all(isinstance(one, Certificate | Refusal | DatabaseError | OSError) for one in came)
    check_numbers_and_bytes()
    for submission in submissions:
        issue(lab, submission)()  # refused where it is issued already
        certificate = submission.certificates.get()
        if not certificate.files.exists():
            acts.publish_certificate(by=lab.people["issuer"], at=NOW, certificate=certificate)
    assert Certificate.objects.count() == 4
    assert CertificateFile.objects.count() == 8
    check_numbers_and_bytes()


@pytest.mark.usefixtures("quick_drawing")
def test_one_form_sent_twice_issues_once_and_an_amendment_too(lab: Laboratory) -> None:
    (submission,) = ready(lab, 1)
    came = at_once(*(issue(lab, submission, "one form") for _ in range(3)))
    assert sorted(type(one).__name__ for one in came) == ["Certificate", "WrongState", "WrongState"]
    first = Certificate.objects.get()

    def amend() -> Any:
        return acts.amend_certificate(
            by=lab.people["issuer"], at=NOW, reason="Another reference.", certificate=first, rule_set=lab.rule_set,
            form_key="another form",
        )  # fmt: skip

    came = at_once(amend, amend, amend)
    assert sorted(type(one).__name__ for one in came) == ["Certificate", "WrongState", "WrongState"]
    assert list(Certificate.objects.order_by("issue").values_list("issue", flat=True)) == [1, 2]


@pytest.mark.usefixtures("quick_drawing")
def test_a_disk_that_is_really_full_leaves_nothing(lab: Laboratory) -> None:
    if connection.vendor != "sqlite":
        pytest.skip("only SQLite can be told how many pages its file may have")
    (submission,) = ready(lab, 1)
    events = AuditEvent.objects.count()
    with connection.cursor() as cursor:
        cursor.execute("vacuum")
        pages = cursor.execute("pragma page_count").fetchone()[0]
        cursor.execute(f"pragma max_page_count = {pages}")
    try:
        with pytest.raises(OperationalError, match="full"):
            acts.issue_certificate(
                by=lab.people["issuer"], at=NOW, submission=submission, rule_set=lab.rule_set, reason="x" * 100_000
            )
    finally:
        with connection.cursor() as cursor:
            cursor.execute("pragma max_page_count = 1073741823")
    assert (Certificate.objects.count(), AuditEvent.objects.count()) == (0, events)
    assert issue(lab, submission)().number == "C26-0001"
    check_numbers_and_bytes()


@pytest.mark.usefixtures("quick_drawing")
def test_a_thread_draws_beside_the_pages_and_tells_the_client(lab: Laboratory, settings: Any) -> None:
    settings.DRAWING = "thread"
    (submission,) = ready(lab, 1)
    certificate = acts.issue_certificate(by=lab.people["issuer"], at=NOW, submission=submission, rule_set=lab.rule_set)
    issuing.draw_soon(certificate, lab.people["issuer"], lambda: NOW)
    issuing._thread().submit(int).result(timeout=60)  # one at a time: what is asked after it waits for it
    assert certificate.files.count() == 2
    assert (certificate.notices.count(), issuing.progress_of(certificate.pk).word) == (1, "nobody")
    check_numbers_and_bytes()


@pytest.mark.usefixtures("quick_drawing")
def test_a_command_draws_what_waits(lab: Laboratory, settings: Any, capsys: pytest.CaptureFixture[str]) -> None:
    settings.DRAWING = "command"
    (submission,) = ready(lab, 1)
    certificate = acts.issue_certificate(by=lab.people["issuer"], at=NOW, submission=submission, rule_set=lab.rule_set)
    issuing.draw_soon(certificate, lab.people["issuer"], lambda: NOW)
    assert (certificate.files.count(), issuing.progress_of(certificate.pk).word) == (0, "waits")
    call_command("draw_certificates")
    assert (certificate.files.count(), capsys.readouterr().out) == (2, "C26-0001, issue 1: drawn\n")


KILLED = """
import os, signal, django
django.setup()
from labresults.models import Person, Submission
from reports.actions import certificates as acts
from reports.models import RuleSetVersion
from tests.builders import NOW
acts.draw_files = lambda document, progress=None: os.kill(os.getpid(), signal.SIGKILL)
acts.registered_key = lambda at: None
by = Person.objects.get(username="issuer")
certificate = acts.issue_certificate(
    by=by, at=NOW, submission=Submission.objects.get(), rule_set=RuleSetVersion.objects.get(), form_key="killed")
acts.publish_certificate(by=by, at=NOW, certificate=certificate)
"""


@pytest.mark.usefixtures("quick_drawing")
def test_a_process_killed_while_it_draws_leaves_what_is_frozen_and_it_is_drawn_from_that(lab: Laboratory) -> None:
    (submission,) = ready(lab, 1)
    connections.close_all()
    killed = subprocess.run(
        [sys.executable, "-c", KILLED], env=os.environ | {"DJANGO_SETTINGS_MODULE": "labresults.config.settings"}
        | {"DATABASE_URL": address_of_the_test_database()}, capture_output=True, cwd=ours.ROOT, check=False,
    )  # fmt: skip
    assert killed.returncode == -signal.SIGKILL, killed.stderr.decode()

    frozen = Certificate.objects.get()
    assert (str(frozen), frozen.files.count()) == ("C26-0001, issue 1", 0)
    with pytest.raises(WrongState, match="This form was sent before: C26-0001, issue 1"):
        acts.issue_certificate(
            by=lab.people["issuer"], at=NOW, submission=submission, rule_set=lab.rule_set, form_key="killed"
        )
    acts.publish_certificate(by=lab.people["issuer"], at=NOW, certificate=frozen)
    assert bytes(frozen.files.get(kind="json").content) == frozen.document.encode()
    check_numbers_and_bytes()


def address_of_the_test_database() -> str:
    name = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{name['NAME']}"
    return f"postgres://{name['USER']}:{name['PASSWORD']}@{name['HOST']}:{name['PORT']}/{name['NAME']}"
