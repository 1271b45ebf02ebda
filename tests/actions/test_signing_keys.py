"""Certificates are signed only with a key that is on record, valid, and not ended; the commands around it."""

from datetime import timedelta
from io import StringIO
from pathlib import Path
from shutil import copytree

import pytest
from django.core.management import CommandError, call_command

from labresults.acts import BadInput, WrongState
from reports.actions.certificates import publish_certificate
from reports.actions.signing import end_signing_certificate, register_signing_certificate
from reports.models import Certificate, CertificateFile, SigningCertificate
from reports.signing.keys import CERTIFICATE_FILE, make_key, read_public, set_aside
from tests.builders import NOW, Laboratory, a_certificate, a_submission, an_evaluated_run, approved


@pytest.fixture
def frozen(lab: Laboratory) -> Certificate:
    submission = a_submission(lab, 1)
    an_evaluated_run(lab, submission)
    return a_certificate(lab, approved(lab, submission), draw=False)


def published(lab: Laboratory, certificate: Certificate) -> list[CertificateFile]:
    return publish_certificate(by=lab.people["issuer"], at=lab.later(), certificate=certificate)


def test_without_a_key_nothing_is_published(
    lab: Laboratory, frozen: Certificate, settings: object, tmp_path: Path
) -> None:
    settings.KEYS = tmp_path  # type: ignore[attr-defined]
    with pytest.raises(WrongState, match="make_signing_key"):
        published(lab, frozen)
    assert not frozen.files.exists()


def test_a_key_that_is_not_on_record_signs_nothing(
    lab: Laboratory, frozen: Certificate, settings: object, tmp_path: Path
) -> None:
    settings.KEYS = tmp_path  # type: ignore[attr-defined]
    half = make_key(tmp_path, laboratory="Kestrel Flat Laboratory", at=NOW)
    with pytest.raises(WrongState, match="is not on record"):
        published(lab, frozen)
    register_signing_certificate(by=lab.people["laboratory manager"], at=lab.later(), half=half)
    assert published(lab, frozen)


def test_an_ended_key_signs_nothing(lab: Laboratory, frozen: Certificate) -> None:
    row = SigningCertificate.objects.get()
    manager = lab.people["laboratory manager"]
    with pytest.raises(BadInput, match="Say why"):
        end_signing_certificate(by=manager, at=lab.later(), certificate=row)
    end_signing_certificate(by=manager, at=lab.later(), reason="The machine was sold.", certificate=row)
    with pytest.raises(WrongState, match="The machine was sold"):
        published(lab, frozen)
    with pytest.raises(WrongState, match="ended already"):
        end_signing_certificate(by=manager, at=lab.later(), reason="Again.", certificate=row)


def test_a_key_is_registered_once_and_while_it_is_valid(lab: Laboratory, tmp_path: Path) -> None:
    manager = lab.people["laboratory manager"]
    known = read_public_of(SigningCertificate.objects.get(), tmp_path)
    with pytest.raises(WrongState, match="on record already"):
        register_signing_certificate(by=manager, at=lab.later(), half=known)
    late = make_key(tmp_path / "late", laboratory="Kestrel Flat Laboratory", at=NOW + timedelta(days=400))
    with pytest.raises(BadInput, match="is not valid on"):
        register_signing_certificate(by=manager, at=lab.later(), half=late)


def test_the_command_makes_and_registers_a_key(lab: Laboratory, settings: object, tmp_path: Path) -> None:
    settings.KEYS = tmp_path / "keys"  # type: ignore[attr-defined]
    at = ["--by", "laboratory-manager", "--at", lab.later().isoformat()]
    said = StringIO()
    call_command("make_signing_key", *at, stdout=said)
    assert "is not encrypted" in said.getvalue()
    assert SigningCertificate.objects.filter(sha256=read_public(tmp_path / "keys" / CERTIFICATE_FILE).sha256).exists()
    with pytest.raises(CommandError, match="is there already"):
        call_command("make_signing_key", *at)
    call_command("make_signing_key", "--renew", *at, stdout=StringIO())
    assert SigningCertificate.objects.count() == 3
    with pytest.raises(CommandError, match="on record already"):
        call_command("make_signing_key", "--register", *at)


def test_somebody_who_may_not_renew_the_key_leaves_it_as_it_is(
    lab: Laboratory, settings: object, tmp_path: Path, signing_folder: Path
) -> None:
    settings.KEYS = copytree(signing_folder, tmp_path / "keys")  # type: ignore[attr-defined]
    with pytest.raises(CommandError, match="may not register signing certificate"):
        call_command("make_signing_key", "--renew", "--by", "preparer", "--at", lab.later().isoformat())
    assert {path.name: path.read_bytes() for path in (tmp_path / "keys").iterdir()} == {
        path.name: path.read_bytes() for path in signing_folder.iterdir()
    }


def test_what_an_earlier_key_signed_is_verified_with_the_folder_alone(
    lab: Laboratory, frozen: Certificate, settings: object, tmp_path: Path, signing_folder: Path
) -> None:
    # given a certificate, and then a new key
    settings.KEYS = copytree(signing_folder, tmp_path / "keys")  # type: ignore[attr-defined]
    published(lab, frozen)
    file = tmp_path / "issued.pdf"
    file.write_bytes(bytes(frozen.files.get(kind="pdf").content))
    set_aside(tmp_path / "keys")
    with pytest.raises(CommandError, match="holds no certificate of a signing key"):
        call_command("verify_certificate", file)
    make_key(tmp_path / "keys", laboratory="Kestrel Flat Laboratory", at=lab.later())
    said = StringIO()
    call_command("verify_certificate", file, stdout=said)
    assert "as it was signed by Kestrel Flat Laboratory" in said.getvalue()


def test_verify_certificate_says_whether_a_file_is_as_signed(
    lab: Laboratory, frozen: Certificate, tmp_path: Path
) -> None:
    published(lab, frozen)
    good, bad = tmp_path / "good.pdf", tmp_path / "bad.pdf"
    content = bytes(frozen.files.get(kind="pdf").content)
    good.write_bytes(content)
    bad.write_bytes(content[:500] + bytes([content[500] ^ 1]) + content[501:])
    key = tmp_path / "key.pem"
    key.write_text(SigningCertificate.objects.get().pem)

    said = StringIO()
    call_command("verify_certificate", good, "--key", key, stdout=said)
    assert "as it was signed by Kestrel Flat Laboratory on 2026-11-1" in said.getvalue()
    assert frozen.number in said.getvalue()
    with pytest.raises(CommandError, match="NOT as it was signed"):
        call_command("verify_certificate", good, bad, "--key", key, stdout=StringIO())
    with pytest.raises(CommandError, match="cannot be read"):
        call_command("verify_certificate", tmp_path / "none.pdf", "--key", key)
    with pytest.raises(CommandError, match="holds no certificate of a signing key"):
        call_command("verify_certificate", good, "--key", good)


def read_public_of(row: SigningCertificate, folder: Path) -> object:
    path = folder / "public.pem"
    path.write_text(row.pem)
    return read_public(path)
