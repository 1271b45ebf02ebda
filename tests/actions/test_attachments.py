"""Attachments: allowed by their own bytes, limited in size, stored once by SHA-256."""

import hashlib

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from labresults import guards
from labresults.actions.attachments import attach_file
from labresults.acts import BadInput, WrongState
from labresults.models import Attachment, AuditEvent, StoredFile
from labresults.queries.attachments import attached_to, content_of
from tests.builders import PHOTOGRAPH, Laboratory, a_submission


def attached(lab: Laboratory, submission: object, **given: object) -> Attachment:
    return attach_file(
        **({"by": lab.people["reception"], "at": lab.later(), "submission": submission, "name": "bag.png",
            "content": PHOTOGRAPH} | given)
    )  # fmt: skip


def test_the_bytes_are_kept_as_they_came_once(lab: Laboratory) -> None:
    first, second = a_submission(lab, 1), a_submission(lab, 1)

    one = attached(lab, first, words="torn at the seam")
    two = attached(lab, second, sample=second.samples.get())

    stored = StoredFile.objects.get()
    assert (one.file, two.file) == (stored, stored)
    assert content_of(stored) == PHOTOGRAPH
    assert stored.sha256 == hashlib.sha256(PHOTOGRAPH).hexdigest()
    assert [row.words for row in attached_to(first)] == ["torn at the seam"]
    assert AuditEvent.objects.latest("seq").subject == second.samples.get().number
    assert stored.sha256 in AuditEvent.objects.latest("seq").content


def test_the_same_file_sent_twice_is_attached_once(lab: Laboratory) -> None:
    submission = a_submission(lab, 1)
    attached(lab, submission)
    with pytest.raises(BadInput, match=r"attached to S26-0001 already, as “bag\.png”"):
        attached(lab, submission, name="again.png")
    assert Attachment.objects.count() == 1


@pytest.mark.parametrize(
    ("given", "says"),
    [
        pytest.param({"content": b""}, "is empty", id="empty"),
        pytest.param({"content": b"<html>", "name": "bag.jpg"}, "whatever its name says", id="a page named as a photo"),
        pytest.param({"content": PHOTOGRAPH + bytes(10 * 1024 * 1024)}, "has 10.0 MB; at most 10 MB", id="too large"),
        pytest.param({"words": "x" * 201}, "at most 200 letters", id="too many words"),
    ],
)
def test_what_may_not_be_attached_is_refused(given: dict[str, object], says: str, lab: Laboratory) -> None:
    with pytest.raises(BadInput, match=says):
        attached(lab, a_submission(lab, 1), **given)
    assert not StoredFile.objects.exists()


def test_a_sample_of_another_submission_is_refused(lab: Laboratory) -> None:
    with pytest.raises(BadInput, match="is not in"):
        attached(lab, a_submission(lab, 1), sample=a_submission(lab, 1).samples.get())


@pytest.mark.django_db(transaction=True)
def test_bytes_that_were_changed_behind_the_back_are_not_shown(lab: Laboratory) -> None:
    attached(lab, a_submission(lab, 1))
    call_command("verify_attachments")
    guards.remove(connection)  # what the owner of the database could do
    StoredFile.objects.update(content=PHOTOGRAPH + b"\n")
    with pytest.raises(WrongState, match="not those that were attached"):
        content_of(StoredFile.objects.get())
    with pytest.raises(CommandError, match=hashlib.sha256(PHOTOGRAPH).hexdigest()):
        call_command("verify_attachments")
