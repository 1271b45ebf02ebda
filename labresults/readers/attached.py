"""Photographs and documents of a delivery: what a file is, by its own bytes and never by its name.

First bytes: JPEG, ISO/IEC 10918-1 (1994), annex B (markers SOI, then FF); PNG, W3C Recommendation (2003), 5.2;
WebP, RFC 9649 (2024), section 2; PDF, ISO 32000-1 (2008), 7.5.2; workbooks, ECMA-376-2 (the parts of a zip archive).
"""

import re
import unicodedata
import zipfile
from dataclasses import dataclass
from io import BytesIO

LARGEST_MB = 10
LARGEST_BYTES = LARGEST_MB * 1024 * 1024
_LONGEST_NAME = 200


@dataclass(frozen=True)
class Kind:
    """A kind of file that may be attached. `endings`: how its name may end; the first one is added to any other."""

    words: str
    media_type: str
    endings: tuple[str, ...]
    is_image: bool = False


JPEG = Kind("JPEG image", "image/jpeg", (".jpg", ".jpeg"), is_image=True)
PNG = Kind("PNG image", "image/png", (".png",), is_image=True)
WEBP = Kind("WebP image", "image/webp", (".webp",), is_image=True)
PDF = Kind("PDF", "application/pdf", (".pdf",))
TEXT = Kind("plain text", "text/plain", (".txt", ".csv", ".tsv"))
XLSX = Kind("workbook", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", (".xlsx",))

KINDS = (JPEG, PNG, WEBP, PDF, TEXT, XLSX)
ALLOWED = "JPEG, PNG and WebP images, PDF, plain text or CSV, and XLSX without macros"


def kind_of(content: bytes) -> Kind | None:
    """Return the kind of a file from its bytes, None when it is none that may be attached (markup, programs, SVG)."""
    if content.startswith(b"\xff\xd8\xff"):
        return JPEG
    if content.startswith(b"\x89PNG\r\n\x1a\n"):
        return PNG
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return WEBP
    if content.startswith(b"%PDF-"):
        return PDF
    if content.startswith(b"PK\x03\x04"):
        return XLSX if _is_workbook(content) else None
    return TEXT if _is_plain_text(content) else None


def by_media_type(media_type: str) -> Kind:
    """The kind that was stored under a media type. Raises KeyError when there is none."""
    return {kind.media_type: kind for kind in KINDS}[media_type]


def plain_name(name: str, kind: Kind) -> str:
    """The name of a file without folders and control characters, at most 200 long, with an ending of its kind.

    So that a file that is kept as a photograph cannot be opened as anything else once it was downloaded.
    """
    last = re.split(r"[/\\]", name)[-1]
    clean = "".join(letter for letter in last if letter.isprintable()).strip() or "file"
    if clean.lower().endswith(kind.endings):
        stem, _, ending = clean.rpartition(".")
        return f"{stem[: _LONGEST_NAME - len(ending) - 1] or 'file'}.{ending}"
    return clean[: _LONGEST_NAME - len(kind.endings[0])] + kind.endings[0]


def _is_workbook(content: bytes) -> bool:
    """A zip archive with the parts of a workbook and no program among them; nothing is unpacked."""
    try:
        names = zipfile.ZipFile(BytesIO(content)).namelist()
    except (zipfile.BadZipFile, ValueError, NotImplementedError, OSError):
        return False
    programs = [name for name in names if name.lower().endswith((".bin", ".exe", ".js", ".html", ".htm", ".svg"))]
    harmless = {name for name in programs if re.search(r"printerSettings\d*\.bin$", name)}
    return {"[Content_Types].xml", "xl/workbook.xml"} <= set(names) and not set(programs) - harmless


def _is_plain_text(content: bytes) -> bool:
    """Text in UTF-8 or Windows-1252 without control characters that does not begin as markup does."""
    text = _decoded(content)
    if not text.strip() or text.lstrip("\ufeff \t\r\n\f").startswith("<"):
        return False
    return not any(unicodedata.category(letter) == "Cc" for letter in text if letter not in "\t\r\n\f")


def _decoded(content: bytes) -> str:
    """The text of the bytes, empty where they are none."""
    for encoding in ("utf-8-sig", "cp1252"):
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    return ""
