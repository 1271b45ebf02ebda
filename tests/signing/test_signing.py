"""A certificate's signature: holds for the file as issued, and for no other file. Checked offline."""

from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from stat import S_IMODE

import pikepdf
import pytest
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign import fields, signers

from reports.signing.keys import (
    CERTIFICATE_FILE,
    KEY_FILE,
    KeyTrouble,
    PublicHalf,
    make_key,
    open_key,
    read_public,
    read_public_halves,
    set_aside,
)
from reports.signing.sign import FIELD, sign_pdf
from reports.signing.verify import verify_pdf

AT = datetime(2026, 11, 16, 10, 6, tzinfo=UTC)
LABORATORY = "Kestrel Flat Laboratory"


def a_pdf() -> bytes:
    """Two pages of a document that says nothing."""
    pdf = pikepdf.new()
    for _ in range(2):
        pdf.add_blank_page()

    stream = BytesIO()
    pdf.save(stream, deterministic_id=True)
    return stream.getvalue()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("signing")
    make_key(made, laboratory=LABORATORY, at=AT - timedelta(days=1), passphrase="gravel road")
    return made


@pytest.fixture(scope="module")
def half(folder: Path) -> PublicHalf:
    return read_public(folder / CERTIFICATE_FILE)


def signed(folder: Path, pdf: bytes, at: datetime = AT) -> bytes:
    key = open_key(folder, "gravel road")
    return sign_pdf(pdf, key, at=at, name=LABORATORY, place="Gravel Road, Kestrel Flat", meaning="C26-0001, issue 1")


def test_a_signed_file_holds_and_says_who_when_and_what(folder: Path, half: PublicHalf) -> None:
    verdict = verify_pdf(signed(folder, a_pdf()), [half])
    assert verdict.problems == ()
    assert (verdict.signer, verdict.signed_at, verdict.meaning) == (LABORATORY, AT, "C26-0001, issue 1")
    assert verdict.key_sha256 == half.sha256


def test_signed_again_the_file_has_the_same_bytes(folder: Path) -> None:
    assert signed(folder, a_pdf()) == signed(folder, a_pdf())


def test_not_one_byte_of_it_can_be_another(folder: Path, half: PublicHalf) -> None:
    """Each 29th byte from the first to the last: also within the signature's own container, which no digest covers."""
    content = signed(folder, a_pdf())
    assert len(content) > 6_000
    steps = range(0, len(content), 29)
    assert [place for place in steps if verify_pdf(_with_bit(content, place), [half]).holds] == []


def test_the_container_of_the_signature_is_written_one_way_only(folder: Path, half: PublicHalf) -> None:
    content = signed(folder, a_pdf())
    start = content.index(b"/Contents <") + len(b"/Contents <")
    lower = content[: start + 40].replace(content[start : start + 40], content[start : start + 40].lower())
    same_signature = lower + content[start + 40 :]
    assert same_signature != content
    assert verify_pdf(same_signature, [half]).problems == ("The container of the signature was changed.",)


def signed_twice(folder: Path) -> bytes:
    """By somebody else's program that does not ask what the first signature forbids."""

    first = IncrementalPdfFileWriter(BytesIO(a_pdf()))
    fields.append_signature_field(first, fields.SigFieldSpec("First"))
    fields.append_signature_field(first, fields.SigFieldSpec("Second"))
    stream = BytesIO()
    first.write(stream)
    signer = signers.SimpleSigner.load(
        str(folder / KEY_FILE), str(folder / CERTIFICATE_FILE), key_passphrase=b"gravel road"
    )
    for name in ("First", "Second"):
        writer = IncrementalPdfFileWriter(stream)
        stream = signers.sign_pdf(writer, signers.PdfSignatureMetadata(field_name=name), signer=signer)
    return bytes(stream.getvalue())


BAD_FILES = [
    ("a file without a signature", lambda folder: a_pdf(), "no signature"),
    ("an empty file", lambda folder: b"", "cannot be read as a signed PDF"),
    ("something else", lambda folder: b"PK\x03\x04 not a PDF", "cannot be read as a signed PDF"),
    ("half of the file", lambda folder: signed(folder, a_pdf())[:4000], ""),
    ("something added after it", lambda folder: signed(folder, a_pdf()) + b"\n% more", "does not cover the whole file"),
    ("saved anew", lambda folder: _saved_anew(signed(folder, a_pdf())), ""),
    ("signed twice", signed_twice, "2 signatures"),
]  # fmt: skip


@pytest.mark.parametrize(("what", "made", "words"), BAD_FILES, ids=[row[0] for row in BAD_FILES])
def test_other_files_do_not_hold(what: str, made: object, words: str, folder: Path, half: PublicHalf) -> None:
    verdict = verify_pdf(made(folder), [half])  # type: ignore[operator]
    assert not verdict.holds
    assert words in " ".join(verdict.problems)


def test_another_key_is_named(folder: Path, half: PublicHalf, tmp_path: Path) -> None:
    strangers = make_key(tmp_path / "keys", laboratory=LABORATORY, at=AT - timedelta(days=1))
    verdict = verify_pdf(signed(folder, a_pdf()), [strangers])
    assert verdict.problems == (f"It was signed with another key ({half.sha256[:12]}…) than those that were given.",)
    assert verify_pdf(signed(folder, a_pdf()), [strangers, half]).holds


def test_after_the_key_has_run_out_what_it_signed_still_holds(folder: Path, half: PublicHalf) -> None:
    """Validity is judged at the moment of the signature: five years later the key is not valid any more."""
    late = half.valid_to - timedelta(days=1)
    assert verify_pdf(signed(folder, a_pdf(), late), [half]).holds


@pytest.mark.parametrize("days", [-2, 6 * 365])
def test_a_file_that_states_a_moment_outside_its_key_does_not_hold(
    days: int, folder: Path, half: PublicHalf, monkeypatch: pytest.MonkeyPatch
) -> None:
    # given a program that does not ask whether the key is valid
    with monkeypatch.context() as careless:
        careless.setattr(PublicHalf, "holds_at", lambda self, moment: True)
        content = signed(folder, a_pdf(), AT + timedelta(days=days))
    assert "It states a moment at which the key was not valid." in verify_pdf(content, [half]).problems


@pytest.mark.parametrize("days", [-2, 6 * 365])
def test_a_key_that_is_not_valid_signs_nothing(days: int, folder: Path) -> None:
    with pytest.raises(KeyTrouble, match="is valid from"):
        signed(folder, a_pdf(), AT + timedelta(days=days))


def test_the_signature_forbids_every_change(folder: Path) -> None:
    """ISO 32000-1:2008, 12.8.2.2, table 254: P = 1, no changes; 12.7.4.5 and ETSI EN 319 142-1 for the sub-filter."""

    with pikepdf.open(BytesIO(signed(folder, a_pdf()))) as pdf:
        signature = pdf.Root.Perms.DocMDP
        assert str(signature.SubFilter) == "/ETSI.CAdES.detached"
        assert int(signature.Reference[0].TransformParams.P) == 1
        assert [str(field.T) for field in pdf.Root.AcroForm.Fields] == [FIELD]


class TestTheKey:
    def test_is_closed_to_others_and_encrypted(self, folder: Path) -> None:
        assert S_IMODE((folder / KEY_FILE).stat().st_mode) == 0o600
        assert b"BEGIN ENCRYPTED PRIVATE KEY" in (folder / KEY_FILE).read_bytes()
        with pytest.raises(KeyTrouble, match="LABRESULTS_KEY_PASSPHRASE"):
            open_key(folder, "something else")
        with pytest.raises(KeyTrouble, match="LABRESULTS_KEY_PASSPHRASE"):
            open_key(folder)

    def test_is_never_overwritten(self, tmp_path: Path) -> None:
        first = make_key(tmp_path, laboratory=LABORATORY, at=AT)
        with pytest.raises(KeyTrouble, match="is there already"):
            make_key(tmp_path, laboratory=LABORATORY, at=AT)
        assert read_public(tmp_path / CERTIFICATE_FILE) == first

    def test_is_set_aside_for_a_new_one(self, tmp_path: Path) -> None:
        first = make_key(tmp_path, laboratory=LABORATORY, at=AT)
        old = set_aside(tmp_path)
        second = make_key(tmp_path, laboratory=LABORATORY, at=AT)
        assert first.sha256 != second.sha256
        assert [path.name for path in old] == [
            f"signing-key-{first.sha256[:12]}.pem",
            f"signing-certificate-{first.sha256[:12]}.pem",
        ]
        both = tmp_path / "both.pem"
        both.write_text(first.pem + second.pem)
        assert [half.sha256 for half in read_public_halves(both)] == [first.sha256, second.sha256]

    @pytest.mark.parametrize("content", ["", "not a certificate"])
    def test_a_file_without_a_public_half_is_refused(self, content: str, tmp_path: Path) -> None:
        path = tmp_path / "key.pem"
        path.write_text(content)
        with pytest.raises(KeyTrouble, match="Ask the laboratory"):
            read_public_halves(path)

    def test_where_none_is_the_command_is_named(self, tmp_path: Path) -> None:
        with pytest.raises(KeyTrouble, match="make_signing_key"):
            open_key(tmp_path)


def _with_bit(content: bytes, place: int) -> bytes:
    changed = bytearray(content)
    changed[place] ^= 1 << place % 8
    return bytes(changed)


def _saved_anew(content: bytes) -> bytes:

    stream = BytesIO()
    with pikepdf.open(BytesIO(content)) as pdf:
        pdf.save(stream)
    return stream.getvalue()
