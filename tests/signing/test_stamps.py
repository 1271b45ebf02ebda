"""An outside clock stamps a signature: who has its root learns whose it is and when; a changed stamp never holds."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from asn1crypto import cms
from pyhanko.sign.timestamps import DummyTimeStamper

from reports.signing.keys import CERTIFICATE_FILE, KeyTrouble, PublicHalf, make_key, open_key, read_public
from reports.signing.sign import sign_pdf
from reports.signing.stamps import MOST_TOKEN_BYTES, Authority, StampTrouble
from reports.signing.verify import verify_pdf
from tests.signing.authority import ADDRESS, Clock, a_clock, served
from tests.signing.test_signing import AT, LABORATORY, a_pdf

STAMPED_AT = AT + timedelta(seconds=9)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("signing")
    make_key(made, laboratory=LABORATORY, at=AT - timedelta(days=1))
    return made


@pytest.fixture(scope="module")
def half(folder: Path) -> PublicHalf:
    return read_public(folder / CERTIFICATE_FILE)


@pytest.fixture(scope="module")
def clock() -> Clock:
    return a_clock()


def signed(folder: Path, authority: Authority | None, at: datetime = AT) -> bytes:
    key = open_key(folder)
    return sign_pdf(a_pdf(), key, at=at, name=LABORATORY, place="Gravel Road", meaning="C26-0001", authority=authority)


@pytest.fixture(scope="module")
def content(folder: Path, clock: Clock) -> bytes:
    return signed(folder, clock.authority(STAMPED_AT))


def container(content: bytes) -> tuple[int, int]:
    """Where the hex digits of the signature's container begin and end, without the zeros that fill it up."""
    start = content.index(b"/Contents <") + len(b"/Contents <")
    length = len(cms.ContentInfo.load(bytes.fromhex(content[start : content.index(b">", start)].decode())).dump())
    return start, start + 2 * length


def test_a_stamp_says_whose_clock_and_when(content: bytes, half: PublicHalf, clock: Clock) -> None:
    verdict = verify_pdf(content, [half], [clock.root])
    assert verdict.problems == ()
    assert verdict.signed_at == AT
    assert (verdict.stamp.at, verdict.stamp.by, verdict.stamp.is_trusted) == (STAMPED_AT, "Tern Rock Clock", True)


def test_without_a_root_it_is_told_and_not_trusted(content: bytes, half: PublicHalf) -> None:
    verdict = verify_pdf(content, [half])
    assert (verdict.problems, verdict.stamp.at, verdict.stamp.is_trusted) == ((), STAMPED_AT, False)


def test_another_authoritys_root_does_not_hold(content: bytes, half: PublicHalf) -> None:
    verdict = verify_pdf(content, [half], [a_clock("Another Clock").root])
    assert verdict.problems == ("The time stamp, of Tern Rock Clock, leads to none of the roots that were given.",)


def test_without_an_authority_there_is_none_and_nothing_else_changes(folder: Path, half: PublicHalf) -> None:
    plain = signed(folder, None)
    assert plain == signed(folder, None)
    assert (verify_pdf(plain, [half]).problems, verify_pdf(plain, [half]).stamp) == ((), None)


def test_not_one_byte_of_signature_and_stamp_can_be_another(content: bytes, half: PublicHalf, clock: Clock) -> None:
    """Each 97th digit of the container, where stamp and authority stand, and the zeros after it."""
    start, end = container(content)
    held = [
        place
        for place in [*range(start, end, 97), end, end + 1, end + 4_000]
        if verify_pdf(_with_bit(content, place), [half], [clock.root]).holds
    ]
    assert held == []


def test_a_stamp_that_was_taken_away_is_missed(content: bytes, half: PublicHalf, clock: Clock) -> None:
    def without(info: cms.ContentInfo) -> None:
        info["content"]["signer_infos"][0]["unsigned_attrs"] = cms.CMSAttributes([])

    def gone(info: cms.ContentInfo) -> None:
        signer = info["content"]["signer_infos"][0]
        fields = {name: signer[name] for name in signer if name != "unsigned_attrs"}
        info["content"]["signer_infos"] = [cms.SignerInfo(fields)]

    for change in (without, gone):
        verdict = verify_pdf(_with_container(content, change), [half], [clock.root])
        assert "The time stamp that belongs to the signature was taken away." in verdict.problems


def test_the_stamp_of_another_file_does_not_hold(content: bytes, folder: Path, half: PublicHalf, clock: Clock) -> None:
    later = signed(folder, clock.authority(STAMPED_AT + timedelta(days=30)), AT + timedelta(days=1))
    start, end = container(later)
    other = cms.ContentInfo.load(bytes.fromhex(later[start:end].decode()))
    stolen = other["content"]["signer_infos"][0]["unsigned_attrs"]

    def put(info: cms.ContentInfo) -> None:
        info["content"]["signer_infos"][0]["unsigned_attrs"] = stolen

    verdict = verify_pdf(_with_container(content, put), [half], [clock.root])
    assert "The time stamp does not belong to this signature, or was changed." in verdict.problems


def test_a_stamp_from_after_the_key_was_over_does_not_hold(folder: Path, clock: Clock) -> None:
    """A key that somebody else has by then could have signed it, and stated an earlier moment."""
    young = a_clock("Young Clock", since=datetime(2031, 1, 1, tzinfo=UTC))
    late = signed(folder, young.authority(datetime(2032, 1, 1, tzinfo=UTC)))
    verdict = verify_pdf(late, [read_public(folder / CERTIFICATE_FILE)], [young.root])
    assert verdict.problems == ("The key was not valid when the outside clock stamped the signature.",)


# ---- asking for one


def test_it_is_asked_for_by_http(folder: Path, half: PublicHalf, clock: Clock) -> None:
    with served(clock.asker(STAMPED_AT)) as address:
        content = signed(folder, Authority(address, [clock.root]))
    verdict = verify_pdf(content, [half], [clock.root])
    assert (verdict.problems, verdict.stamp.is_trusted) == ((), True)


def nowhere(clock: Clock) -> Authority:
    return Authority("http://127.0.0.1:9/stamp", [clock.root])  # "discard" (RFC 863): nobody answers


class _Refusing(DummyTimeStamper):
    def request_tsa_response(self, req: object) -> object:
        raise TimeoutError("no answer within 20 s")


def late(clock: Clock) -> Authority:
    asker = clock.asker(STAMPED_AT)
    return Authority(ADDRESS, [clock.root], _Refusing(asker.tsa_cert, asker.tsa_key))


def of_another_root(clock: Clock) -> Authority:
    return Authority(ADDRESS, [a_clock("Another Clock").root], clock.asker(STAMPED_AT))


def before_it_was_valid(clock: Clock) -> Authority:
    return clock.authority(datetime(2025, 1, 1, tzinfo=UTC))


BAD: list[tuple[Callable[[Clock], Authority], str]] = [
    (nowhere, "The time-stamping authority at http://127.0.0.1:9/stamp gave no time stamp"),
    (late, "gave no time stamp (TimeoutError: no answer within 20 s)."),
    (of_another_root, "It does not lead to the root in LABRESULTS_TIMESTAMPS_ROOT."),
    (before_it_was_valid, "It does not lead to the root"),
]


@pytest.mark.parametrize(("authority", "words"), BAD, ids=[row[0].__name__ for row in BAD])
def test_without_a_good_stamp_nothing_is_signed(
    authority: Callable[[Clock], Authority], words: str, folder: Path, clock: Clock
) -> None:
    with pytest.raises(StampTrouble) as trouble:
        signed(folder, authority(clock))
    assert words in str(trouble.value)


@pytest.mark.parametrize("kind", ["application/timestamp-reply", "text/html"])
def test_an_answer_that_is_none(kind: str, folder: Path, clock: Clock) -> None:
    with served(None, kind) as address, pytest.raises(StampTrouble, match="gave no time stamp"):
        signed(folder, Authority(address, [clock.root]))


def test_an_authority_without_its_root_is_no_use() -> None:
    with pytest.raises(KeyTrouble, match="set LABRESULTS_TIMESTAMPS_ROOT"):
        Authority(ADDRESS, [])


def test_what_an_authority_sends_needlessly_is_left_out(folder: Path, half: PublicHalf, clock: Clock) -> None:
    others = [a_clock("Another Clock"), a_clock("Young Clock", since=datetime(2031, 1, 1, tzinfo=UTC))]
    more = tuple(one for other in others for one in (other.below, other.stamps))
    content = signed(folder, clock.authority(STAMPED_AT, more=more))
    assert verify_pdf(content, [half], [clock.root]).problems == ()
    assert b"Another Clock".hex().upper().encode() not in content


def test_there_is_room_for_large_keys_and_for_no_more_than_that(
    folder: Path, half: PublicHalf, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Root, one below and the authority's own, of 3072 bits each."""
    large = a_clock("Large Clock", bits=3072)
    content = signed(folder, large.authority(STAMPED_AT))
    start, end = container(content)
    assert verify_pdf(content, [half], [large.root]).problems == ()
    assert (end - start) // 2 < MOST_TOKEN_BYTES
    monkeypatch.setattr("reports.signing.stamps.MOST_TOKEN_BYTES", 2_000)
    with pytest.raises(StampTrouble, match="there is no room"):
        signed(folder, large.authority(STAMPED_AT))


def _with_bit(content: bytes, place: int) -> bytes:
    changed = bytearray(content)
    changed[place] ^= 1 << place % 8
    return bytes(changed)


def _with_container(content: bytes, change: Callable[[cms.ContentInfo], None]) -> bytes:
    """The file with its signature's container changed, written as large as before."""
    start, end = container(content)
    info = cms.ContentInfo.load(bytes.fromhex(content[start:end].decode()))
    change(info)
    digits = info.dump(force=True).hex().upper().encode()
    stop = content.index(b">", start)
    return content[:start] + digits.ljust(stop - start, b"0") + content[stop:]
