"""A file between its preview and its import."""

from datetime import timedelta

import pytest
from django.core.files.storage import default_storage
from django.utils import timezone

from labresults.web import uploads


@pytest.fixture(autouse=True)
def _a_store_of_its_own(settings: object, tmp_path: object) -> None:
    settings.STORAGES = settings.STORAGES | {  # type: ignore[attr-defined]
        "default": {"BACKEND": "django.core.files.storage.FileSystemStorage", "OPTIONS": {"location": tmp_path}}
    }


def test_bytes_come_back_under_their_hash_until_they_are_forgotten() -> None:
    sha256 = uploads.keep(b"position,label", timezone.now())
    assert uploads.keep(b"position,label", timezone.now()) == sha256

    assert uploads.take(sha256) == b"position,label"

    uploads.forget(sha256)
    assert uploads.take(sha256) is None


def test_bytes_that_were_changed_are_not_given_back() -> None:
    sha256 = uploads.keep(b"position,label", timezone.now())
    with default_storage.open(f"{uploads.FOLDER}/{sha256}", "wb") as file:
        file.write(b"something else")

    assert uploads.take(sha256) is None


@pytest.mark.parametrize("name", ["", "0" * 64, "../settings.py", "x" * 64, "A" * 64])
def test_what_is_no_hash_opens_nothing(name: str) -> None:
    assert uploads.take(name) is None
    uploads.forget(name)


def test_what_was_left_behind_goes_after_a_day() -> None:
    old = uploads.keep(b"yesterday", timezone.now())

    written = default_storage.get_modified_time(f"{uploads.FOLDER}/{old}")
    uploads.keep(b"today", written + uploads.KEPT)
    assert uploads.take(old) == b"yesterday"

    uploads.keep(b"today", written + uploads.KEPT + timedelta(seconds=1))
    assert uploads.take(old) is None
