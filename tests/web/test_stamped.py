"""A certificate whose signature an outside clock stamps: drawn, checked by command and by strangers, or not issued."""

from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from labresults.checks import clock_has_a_root
from reports.issuing import draw
from reports.models import Certificate
from reports.queries.signing import SignaturesOnRecord
from reports.signing.keys import CERTIFICATE_FILE
from tests.builders import NOW, Laboratory, a_certificate, a_submission, an_evaluated_run, approved
from tests.signing.authority import a_clock, served

NOWHERE = "http://127.0.0.1:9/stamp"


@pytest.fixture
def root(tmp_path: Path, settings: object) -> Path:
    """The authority's root, in a file that the settings name; nobody answers there yet."""
    path = tmp_path / "root.pem"
    path.write_text(a_clock().root.pem)
    settings.TIMESTAMPS, settings.TIMESTAMPS_ROOT = NOWHERE, str(path)  # type: ignore[attr-defined]
    return path


@pytest.fixture
def frozen(lab: Laboratory) -> Certificate:
    submission = a_submission(lab, 1)
    an_evaluated_run(lab, submission)
    return a_certificate(lab, approved(lab, submission), draw=False)


def verified(path: Path, *more: object, key: Path) -> str:
    said = StringIO()
    call_command("verify_certificate", path, "--key", key / CERTIFICATE_FILE, *more, stdout=said)
    return said.getvalue()


def test_without_an_answer_it_stays_frozen_and_is_drawn_when_there_is_one(
    frozen: Certificate, root: Path, settings: object, signing_folder: Path, tmp_path: Path
) -> None:
    # given an authority that does not answer: nothing is kept, and the words say what to do
    words = draw(frozen.pk, None, lambda: NOW)
    assert f"The time-stamping authority at {NOWHERE} gave no time stamp" in words
    assert words.endswith("What is frozen stays as it is, and is not public: draw it again.")
    assert not frozen.files.exists()
    assert Client().get(reverse("verify-code", args=[frozen.check_code])).status_code == 404

    # when it answers again
    with served(a_clock().asker(NOW)) as address:
        settings.TIMESTAMPS = address  # type: ignore[attr-defined]
        assert draw(frozen.pk, None, lambda: NOW) == ""

    # then whoever has the file, the key and the root is told
    file = frozen.files.get(kind="pdf")
    path = tmp_path / "certificate.pdf"
    path.write_bytes(bytes(file.content))
    stamped = f"Stamped by Tern Rock Clock on {NOW:%Y-%m-%d %H:%M:%S} UTC+0000: it covers this signature"
    assert f"{stamped}, and leads to a root that was given." in verified(path, key=signing_folder)
    assert f"{stamped}, and leads to" in verified(path, "--clock", root, key=signing_folder)
    settings.TIMESTAMPS_ROOT = ""  # type: ignore[attr-defined]
    assert f"{stamped}; whether to believe it was not judged" in verified(path, key=signing_folder)
    other = tmp_path / "other.pem"
    other.write_text(a_clock("Another Clock").root.pem)
    with pytest.raises(CommandError, match=r"NOT as it was signed\. The time stamp, of Tern Rock Clock, leads to none"):
        verified(path, "--clock", other, key=signing_folder)

    # and strangers on the public page too
    page = Client().get(reverse("verify-code", args=[frozen.check_code])).content.decode()
    assert "by the clock of Tern Rock Clock, which is not the laboratory’s; the stamp covers the signature" in page
    assert "Whether to believe that clock was not judged" in page
    settings.TIMESTAMPS_ROOT = str(root)  # type: ignore[attr-defined]
    page = Client().get(reverse("verify-code", args=[frozen.check_code])).content.decode()
    assert ("the stamp covers the signature" in page, "not judged" in page) == (True, False)
    assert SignaturesOnRecord().trouble(file) == ""


def test_without_a_root_nothing_is_drawn(frozen: Certificate, root: Path, settings: object) -> None:
    settings.TIMESTAMPS_ROOT = ""  # type: ignore[attr-defined]
    assert "set LABRESULTS_TIMESTAMPS_ROOT" in draw(frozen.pk, None, lambda: NOW)
    settings.TIMESTAMPS_ROOT = str(root.with_name("gone.pem"))  # type: ignore[attr-defined]
    assert "gone.pem" in draw(frozen.pk, None, lambda: NOW)
    assert not frozen.files.exists()
    assert [one.id for one in clock_has_a_root()] == ["labresults.E003"]
    settings.TIMESTAMPS_ROOT = str(root)  # type: ignore[attr-defined]
    assert clock_has_a_root() == []


def test_without_an_authority_the_page_says_whose_word_it_is(lab: Laboratory, frozen: Certificate) -> None:
    assert draw(frozen.pk, None, lambda: NOW) == ""
    page = Client().get(reverse("verify-code", args=[frozen.check_code])).content.decode()
    assert "at the moment that the laboratory states; no outside clock stamped it" in page
