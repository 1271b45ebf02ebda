"""The signature of a certificate in its structure: a signed file meets the clauses that the unsigned one met."""

from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path

import pikepdf
import pytest

from reports.render.pdf import render_certificate
from reports.signing.keys import CERTIFICATE_FILE, make_key, open_key, read_public
from reports.signing.sign import sign_pdf
from reports.signing.verify import verify_pdf
from tests.render import documents
from tests.render.archival import CHECKS
from tests.render.structure import elements

AT = datetime(2026, 11, 16, 10, 6, tzinfo=UTC)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("field")
    make_key(made, laboratory="Kestrel Flat Laboratory", at=AT - timedelta(days=1), passphrase="gravel road")
    return made


@pytest.fixture(scope="module")
def signed(folder: Path) -> bytes:
    pdf = render_certificate(documents.certificate(3, 40))
    key = open_key(folder, "gravel road")
    return sign_pdf(pdf, key, at=AT, name="Kestrel Flat Laboratory", place="Kestrel Flat", meaning="C26-0297, issue 1")


@pytest.mark.parametrize("clause", CHECKS)
def test_a_signed_certificate_meets(clause: str, signed: bytes) -> None:
    with pikepdf.open(BytesIO(signed)) as pdf:
        assert CHECKS[clause](pdf) == []


def test_it_is_heard_last_that_it_is_signed_and_by_whom(signed: bytes) -> None:
    with pikepdf.open(BytesIO(signed)) as pdf:
        *_, last = elements(pdf)
        assert (str(last.S), str(last.Alt)) == ("/Form", "Signature of Kestrel Flat Laboratory")


def test_the_signature_holds(folder: Path, signed: bytes) -> None:
    assert verify_pdf(signed, [read_public(folder / CERTIFICATE_FILE)]).problems == ()


def test_a_file_begins_and_ends_as_a_pdf_does(signed: bytes) -> None:
    """19005-3, 6.1.2 and 6.1.3: a header, four bytes above 127 in a comment, nothing after the last end of file."""
    first, second = signed.split(b"\n", 2)[:2]
    assert first in {b"%PDF-1.7", b"%PDF-1.6", b"%PDF-1.5", b"%PDF-1.4"}
    assert second[:1] == b"%"
    assert len([byte for byte in second[1:5] if byte > 127]) == 4
    assert signed.rstrip(b"\r\n").endswith(b"%%EOF")
