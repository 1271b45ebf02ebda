"""What a file is, by its own bytes and never by its name; nothing that can act is attached."""

import zipfile
from io import BytesIO

import pytest

from labresults.readers.attached import JPEG, PDF, PNG, TEXT, WEBP, XLSX, Kind, by_media_type, kind_of, plain_name

JPEG_BYTES = b"\xff\xd8\xff\xe1\x00\x18Exif\x00\x00"
SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'


def a_zip(*names: str) -> bytes:
    buffer = BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name in names:
            archive.writestr(name, "x")
    return buffer.getvalue()


WORKBOOK = ("[Content_Types].xml", "xl/workbook.xml", "xl/worksheets/sheet1.xml")


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        pytest.param(JPEG_BYTES, JPEG, id="JPEG"),
        pytest.param(b"\x89PNG\r\n\x1a\n\x00\x00", PNG, id="PNG"),
        pytest.param(b"RIFF\x24\x00\x00\x00WEBPVP8 ", WEBP, id="WebP"),
        pytest.param(b"%PDF-1.7\n%\xe2\xe3\xcf\xd3", PDF, id="PDF"),
        pytest.param(b"label,mass g\nKF26-00001,0.5\n", TEXT, id="CSV"),
        pytest.param("mass µg; 5 °C\r\n".encode(), TEXT, id="text in UTF-8"),
        pytest.param("mass µg; 5 °C".encode("cp1252"), TEXT, id="text in Windows-1252"),
        pytest.param(b"\xef\xbb\xbfa;b", TEXT, id="text with a mark"),
        pytest.param(a_zip(*WORKBOOK), XLSX, id="workbook"),
        pytest.param(a_zip(*WORKBOOK, "xl/printerSettings/printerSettings1.bin"), XLSX, id="workbook with a printer"),
        pytest.param(a_zip(*WORKBOOK, "xl/vbaProject.bin"), None, id="workbook with macros"),
        pytest.param(a_zip(*WORKBOOK, "xl/embeddings/oleObject1.bin"), None, id="workbook with an object"),
        pytest.param(a_zip("a.txt"), None, id="another zip"),
        pytest.param(b"PK\x03\x04 and nothing else", None, id="a broken zip"),
        pytest.param(b"<!doctype html><script>alert(1)</script>", None, id="a page"),
        pytest.param(b"\n\t <HTML>", None, id="a page after spaces"),
        pytest.param(b"\xef\xbb\xbf<html>", None, id="a page after a mark"),
        pytest.param(SVG, None, id="SVG"),
        pytest.param(b"<?xml version='1.0'?>" + SVG, None, id="SVG as XML"),
        pytest.param("<html>".encode("utf-16"), None, id="a page in UTF-16"),
        pytest.param(b"MZ\x90\x00\x03", None, id="a program"),
        pytest.param(b"\x7fELF\x02\x01", None, id="another program"),
        pytest.param(b"GIF89a\x01\x00\x01\x00", None, id="GIF"),
        pytest.param(b"  %PDF-1.7", TEXT, id="PDF not at the beginning is what it looks like"),
        pytest.param(b"", None, id="nothing"),
        pytest.param(b"   ", None, id="spaces"),
    ],
)
def test_a_file_is_what_its_bytes_say(content: bytes, kind: Kind | None) -> None:
    assert kind_of(content) == kind


def test_a_file_that_is_two_things_is_the_first_one() -> None:
    """A photograph with a page behind it stays a photograph: it is only ever handed out as one."""
    kind = kind_of(JPEG_BYTES + b"<script>alert(1)</script>")
    assert kind == JPEG
    assert by_media_type("image/jpeg") == JPEG


@pytest.mark.parametrize(
    ("name", "kind", "kept"),
    [
        ("bag.jpg", JPEG, "bag.jpg"),
        ("BAG.JPEG", JPEG, "BAG.JPEG"),
        ("page.html", JPEG, "page.html.jpg"),
        ("drawing.svg", PNG, "drawing.svg.png"),
        ("list.csv", TEXT, "list.csv"),
        ("list.html", TEXT, "list.html.txt"),
        ("../../etc/bag.jpg", JPEG, "bag.jpg"),
        ("C:\\Users\\somebody\\bag.jpg", JPEG, "bag.jpg"),
        ("bag\r\nX-Header: 1.jpg", JPEG, "bagX-Header: 1.jpg"),
        ("", PDF, "file.pdf"),
        ("Übergabe 5 µm.pdf", PDF, "Übergabe 5 µm.pdf"),
    ],
)
def test_a_name_keeps_nothing_but_a_name(name: str, kind: Kind, kept: str) -> None:
    assert plain_name(name, kind) == kept


def test_a_name_is_cut_to_what_can_be_kept() -> None:
    assert len(plain_name("x" * 500 + ".jpg", JPEG)) == 200
    assert plain_name("x" * 500 + ".jpg", JPEG).endswith(".jpg")
