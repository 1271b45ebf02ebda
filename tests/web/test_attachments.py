"""Attachments on pages: images to look at, everything else to save, nothing that can act, nothing for clients."""

from collections.abc import Callable

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.urls import reverse

from labresults import guards
from labresults.actions.attachments import attach_file
from labresults.models import Attachment
from tests.builders import PHOTOGRAPH, Laboratory, a_submission

AsRole = Callable[[str], Client]

PDF = b"%PDF-1.7\n1 0 obj"
JPEG = b"\xff\xd8\xff\xe0\x00\x10JFIF\x00"


def an_attachment(lab: Laboratory, name: str = "bag.png", content: bytes = PHOTOGRAPH) -> Attachment:
    return attach_file(
        by=lab.people["reception"], at=lab.later(), submission=a_submission(lab, 1), name=name, content=content
    )


def sent(browser: Client, page: str, number: str, *files: tuple[str, bytes], words: str = "") -> str:
    uploads = [SimpleUploadedFile(name, content) for name, content in files]
    answer = browser.post(reverse(page, args=[number]), {"files": uploads, "words": words}, follow=True)
    assert answer.status_code == 200
    return answer.content.decode()


def test_files_are_attached_to_a_submission_and_to_a_sample(lab: Laboratory, as_role: AsRole) -> None:
    submission, browser = a_submission(lab, 1), as_role("reception")
    sample = submission.samples.get()

    words = sent(browser, "attach", submission.number, ("bag.png", PHOTOGRAPH), ("list.pdf", PDF), words="bag torn")
    assert "bag.png is attached." in words
    sent(browser, "attach-to-sample", sample.number, ("seal.jpg", JPEG))

    words = browser.get(reverse("submission", args=[submission.number])).content.decode()
    for row in Attachment.objects.all():
        assert row.name in words
        assert reverse("attachment", args=[row.pk]) in words
    assert words.count("<img ") == 2  # the PDF is no picture
    assert 'alt="bag torn"' in words
    words = browser.get(reverse("sample", args=[sample.number])).content.decode()
    assert "seal.jpg" in words
    assert "list.pdf" not in words


def test_a_photograph_can_be_taken_with_the_camera(lab: Laboratory, as_role: AsRole) -> None:
    submission, browser = a_submission(lab, 1), as_role("preparer")
    assert 'capture="environment"' in browser.get(reverse("submission", args=[submission.number])).content.decode()
    browser.post(
        reverse("attach", args=[submission.number]), {"photo": SimpleUploadedFile("image.jpg", JPEG), "words": ""}
    )
    assert submission.attachments.get().file.media_type == "image/jpeg"


@pytest.mark.parametrize(
    ("name", "content", "media_type", "disposition"),
    [
        ("bag.png", PHOTOGRAPH, "image/png", 'inline; filename="bag.png"'),
        ("bag.jpg", JPEG, "image/jpeg", 'inline; filename="bag.jpg"'),
        ("bag.html", JPEG + b"<script>alert(1)</script>", "image/jpeg", 'inline; filename="bag.html.jpg"'),
        ("list.pdf", PDF, "application/pdf", 'attachment; filename="list.pdf"'),
        ("list.csv", b"label;g\n", "text/plain", 'attachment; filename="list.csv"'),
        ("list.html", b"label <script>", "text/plain", 'attachment; filename="list.html.txt"'),
    ],
)
def test_what_is_handed_out_cannot_act(
    name: str, content: bytes, media_type: str, disposition: str, lab: Laboratory, as_role: AsRole
) -> None:
    row = an_attachment(lab, name, content)
    answer = as_role("analyst").get(reverse("attachment", args=[row.pk]))
    assert answer.content == content
    assert answer.headers["Content-Type"] == media_type
    assert answer.headers["Content-Disposition"] == disposition
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Content-Security-Policy"] == "sandbox; default-src 'none'"


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        pytest.param("bag.jpg", b"<!doctype html><script>x</script>", "whatever its name says", id="a page as photo"),
        pytest.param("bag.svg", b'<svg xmlns="http://www.w3.org/2000/svg"/>', "whatever its name says", id="SVG"),
        pytest.param("bag.png", b"MZ\x90\x00", "whatever its name says", id="a program"),
        pytest.param("bag.jpg", JPEG + bytes(10 * 1024 * 1024), "at most 10 MB", id="too large"),
    ],
)
def test_what_may_not_be_attached_is_said_by_name(
    name: str, content: bytes, says: str, lab: Laboratory, as_role: AsRole
) -> None:
    submission = a_submission(lab, 1)
    words = sent(as_role("reception"), "attach", submission.number, (name, content))
    assert says in words
    assert f"“{name}”" in words
    assert not submission.attachments.exists()


def test_nothing_chosen_is_said(lab: Laboratory, as_role: AsRole) -> None:
    assert "No file was chosen" in sent(as_role("reception"), "attach", a_submission(lab, 1).number)


def test_an_unchanged_file_is_not_sent_again(lab: Laboratory, as_role: AsRole) -> None:
    address = reverse("attachment", args=[an_attachment(lab).pk])
    browser = as_role("analyst")
    etag = browser.get(address).headers["ETag"]
    answer = browser.get(address, headers={"If-None-Match": etag})
    assert (answer.status_code, answer.content) == (304, b"")


def test_a_clients_people_see_no_attachment(lab: Laboratory, as_role: AsRole) -> None:
    row = an_attachment(lab)
    browser = as_role("client")
    assert browser.get(reverse("attachment", args=[row.pk])).status_code == 403
    assert row.name not in browser.get(reverse("my-submissions")).content.decode()
    assert Client().get(reverse("attachment", args=[row.pk])).status_code == 302


def test_only_whoever_may_attaches(lab: Laboratory, as_role: AsRole) -> None:
    submission, browser = a_submission(lab, 1), as_role("auditor")
    assert 'name="files"' not in browser.get(reverse("submission", args=[submission.number])).content.decode()
    sent(browser, "attach", submission.number, ("bag.png", PHOTOGRAPH))
    assert not submission.attachments.exists()


@pytest.mark.django_db(transaction=True)
def test_changed_bytes_are_not_handed_out(lab: Laboratory, as_role: AsRole) -> None:
    row = an_attachment(lab)
    guards.remove(connection)  # what the owner of the database could do
    type(row.file).objects.update(content=JPEG)
    answer = as_role("analyst").get(reverse("attachment", args=[row.pk]))
    assert answer.status_code == 409
    assert "not those that were attached" in answer.content.decode()
