"""What is refused of a packed file before any of it is taken for a workbook: too much, too many, too clever."""

import io
import re
import zipfile
from collections.abc import Callable

from labresults.readers.limits import LARGEST_RATIO, LARGEST_UNPACKED_BYTES, MOST_PARTS, RATIO_FROM_BYTES
from labresults.readers.problem import Problem

_SIGNATURE = b"PK\x03\x04"
_DECLARATION = re.compile(rb"<\0?!\0?(?:D\0?O\0?C\0?T\0?Y\0?P\0?E|E\0?N\0?T\0?I\0?T\0?Y)", re.I)  # in UTF-16 too
_ENCRYPTED = 0x1
_AGAIN = "Copy it once more from where it was written."
_SAVE = "Save the one sheet by itself as a new workbook, or as CSV."


def refused(content: bytes) -> Problem | None:
    """Return why a packed file is not opened, or None.

    Sizes that its directory states are kept by the unpacking itself: a part that is longer than it says is damaged.
    Declarations of document types and entities have no place in a workbook: they serve to blow it up, or to read
    other files (OWASP, XML External Entity Prevention Cheat Sheet - from memory).
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            entries = archive.infolist()
            found = _of_directory(entries, len(content))
            return found or _of_parts(archive, entries)
    except Exception:  # damaged in one way or another; unpacking raises whatever its methods do
        return _problem("the workbook is damaged or cut off.", _AGAIN)


def _of_directory(entries: list[zipfile.ZipInfo], size: int) -> Problem | None:
    names = [entry.filename for entry in entries]
    if "[Content_Types].xml" not in names:
        return _problem("this is a packed file, not a workbook.", "Unpack it and load the file inside.")
    bad = [name for name in names if _is_bad_name(name)]
    checks: tuple[tuple[bool, str, str], ...] = (
        (len(entries) > MOST_PARTS, f"the workbook has {len(entries)} parts, at most {MOST_PARTS} are read.", _SAVE),
        (len(set(names)) < len(names), "two parts of the workbook have one name.", _SAVE),
        (bool(bad), f"a part of the workbook is called “{bad[0][:60] if bad else ''}”.", _SAVE),
        (any(e.flag_bits & _ENCRYPTED for e in entries), "the workbook has a password.", "Save it without one."),
        (_unpacked(entries) > LARGEST_UNPACKED_BYTES, "the workbook is too large when unpacked.", _SAVE),
        (any(map(_is_bomb, entries)), "a part of the workbook unpacks to far more than such parts do.", _SAVE),
        (sum(entry.compress_size for entry in entries) > size, "parts of the workbook lie over each other.", _SAVE),
    )
    return next((_problem(what, remedy) for is_so, what, remedy in checks if is_so), None)


def _of_parts(archive: zipfile.ZipFile, entries: list[zipfile.ZipInfo]) -> Problem | None:
    tests: tuple[tuple[Callable[[bytes], bool], str], ...] = (
        (lambda part: part.startswith(_SIGNATURE), "the workbook has another packed file inside."),
        (lambda part: bool(_DECLARATION.search(part)), "a part of the workbook declares document types or entities."),
    )
    for entry in entries:
        part = archive.read(entry)
        for is_so, what in tests:
            if is_so(part):
                return _problem(f"{what[:-1]} ({entry.filename[:60]}).", _SAVE)
    return None


def _unpacked(entries: list[zipfile.ZipInfo]) -> int:
    return sum(entry.file_size for entry in entries)


def _is_bomb(entry: zipfile.ZipInfo) -> bool:
    return entry.file_size > RATIO_FROM_BYTES and entry.file_size > LARGEST_RATIO * max(entry.compress_size, 1)


def _is_bad_name(name: str) -> bool:
    parts = name.split("/")
    return name.startswith("/") or "\\" in name or ":" in name or ".." in parts or not name.isprintable()


def _problem(what: str, what_to_do: str) -> Problem:
    return Problem(None, None, what, what_to_do, expected="a workbook with sheets and nothing else")
