"""A file between its preview and its import: kept in the file store under its SHA-256, and not longer than a day."""

import hashlib
import re
from datetime import datetime, timedelta

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

FOLDER = "uploads"
KEPT = timedelta(days=1)
_SHA256 = re.compile(r"[0-9a-f]{64}")


def keep(content: bytes, now: datetime) -> str:
    """Keep the bytes and return their SHA-256; what was left behind more than a day ago goes."""
    _forget_old(now)
    sha256 = hashlib.sha256(content).hexdigest()
    if not default_storage.exists(_path(sha256)):
        default_storage.save(_path(sha256), ContentFile(content))
    return sha256


def take(sha256: str) -> bytes | None:
    """The bytes kept under this hash; None when they are gone, were changed, or the hash is none."""
    if not _SHA256.fullmatch(sha256) or not default_storage.exists(_path(sha256)):
        return None
    with default_storage.open(_path(sha256)) as file:
        content = bytes(file.read())
    return content if hashlib.sha256(content).hexdigest() == sha256 else None


def forget(sha256: str) -> None:
    """Remove what is kept under this hash, once it was imported."""
    if _SHA256.fullmatch(sha256):
        default_storage.delete(_path(sha256))


def _forget_old(now: datetime) -> None:
    if not default_storage.exists(FOLDER):
        return
    for name in default_storage.listdir(FOLDER)[1]:
        if now - default_storage.get_modified_time(f"{FOLDER}/{name}") > KEPT:
            default_storage.delete(f"{FOLDER}/{name}")


def _path(sha256: str) -> str:
    return f"{FOLDER}/{sha256}"
