"""Anybody may ask whether a certificate is genuine and still stands, and learns nothing of what it says."""

import hashlib

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from reports.actions.certificates import amend_certificate, publish_certificate, withdraw_certificate
from reports.models import Certificate
from reports.queries.verify import by_file
from reports.signing.keys import read_public_halves
from reports.signing.verify import verify_pdf
from tests.builders import Laboratory, a_certificate, a_submission, an_evaluated_run, approved


@pytest.fixture
def certificate(lab: Laboratory) -> Certificate:
    submission = a_submission(lab, 2, names=["pit wall 7", "pit wall 8"])
    an_evaluated_run(lab, submission)
    return a_certificate(lab, approved(lab, submission))


@pytest.fixture
def stranger() -> Client:
    return Client()


def asked(stranger: Client, code: str, status: int = 200) -> str:
    answer = stranger.get(reverse("verify-code", args=[code]))
    assert answer.status_code == status
    return answer.content.decode()


def compared(stranger: Client, code: str, content: bytes) -> str:
    file = SimpleUploadedFile("any.pdf", content)
    return stranger.post(reverse("verify-code", args=[code]), {"file": file}).content.decode()


def test_a_current_certificate(certificate: Certificate, stranger: Client) -> None:
    page = asked(stranger, certificate.check_code)
    assert "Genuine and current." in page
    assert f"{certificate.number}</span>, issue 1" in page


def test_strangers_learn_nothing_of_what_it_says(certificate: Certificate, stranger: Client) -> None:
    page = asked(stranger, certificate.check_code)
    told = [certificate.submission.client.name, certificate.submission.number, "pit wall 7", "KF26-", "Cu", "mg/kg"]
    assert [word for word in told if word in page] == []
    answer = stranger.get(reverse("verify-code", args=[certificate.check_code]))
    assert answer["X-Robots-Tag"] == "noindex"
    assert "no-store" in answer["Cache-Control"]


def test_a_replaced_one_and_a_withdrawn_one_say_so(lab: Laboratory, certificate: Certificate, stranger: Client) -> None:
    issuer = lab.people["issuer"]
    second = amend_certificate(
        by=issuer, at=lab.later(), reason="A name was wrong.", certificate=certificate, rule_set=lab.rule_set
    )
    publish_certificate(by=issuer, at=lab.later(), certificate=second)
    assert "<b>replaced</b> by issue 2" in asked(stranger, certificate.check_code)
    assert second.check_code not in asked(stranger, certificate.check_code)
    assert "Genuine and current." in asked(stranger, second.check_code)

    withdraw_certificate(by=issuer, at=lab.later(), reason="Samples were swapped.", certificate=second)
    page = asked(stranger, second.check_code)
    assert "<b>withdrawn</b>" in page
    assert "swapped" not in page


CODES = [("lower", str.lower), ("without its hyphen", lambda code: code.replace("-", "")), ("as printed", str)]


@pytest.mark.parametrize(("how", "written"), CODES, ids=[row[0] for row in CODES])
def test_a_code_is_understood_however_it_is_typed(
    how: str, written: object, certificate: Certificate, stranger: Client
) -> None:
    answer = stranger.get(reverse("verify"), {"code": written(certificate.check_code)}, follow=True)  # type: ignore[operator]
    assert "Genuine and current." in answer.content.decode()


@pytest.mark.parametrize("code", ["AAAA-AAAA", "x", "'; drop"])
def test_an_unknown_code_is_not_found(code: str, certificate: Certificate, stranger: Client) -> None:
    assert "There is no certificate with the code" in asked(stranger, code, 404)
    typed = stranger.get(reverse("verify"), {"code": code}, follow=True)
    assert typed.status_code == 404


def test_one_that_is_frozen_and_not_drawn_is_not_public(lab: Laboratory, stranger: Client) -> None:
    submission = a_submission(lab, 1)
    an_evaluated_run(lab, submission)
    frozen = a_certificate(lab, approved(lab, submission), draw=False)
    asked(stranger, frozen.check_code, 404)


def test_a_file_is_compared_by_its_bytes(certificate: Certificate, stranger: Client) -> None:
    content = bytes(certificate.files.get(kind="pdf").content)
    assert "byte for byte, what was issued as PDF" in compared(stranger, certificate.check_code, content)
    changed = bytes([*content[:-30], content[-30] ^ 1, *content[-29:]])
    assert "<b>not</b> what was issued" in compared(stranger, certificate.check_code, changed)
    assert "<b>not</b> what was issued" in compared(stranger, certificate.check_code, b"")


def test_a_hash_alone_is_enough(certificate: Certificate, stranger: Client) -> None:
    sha256 = certificate.files.get(kind="xlsx").sha256
    by_code = stranger.post(reverse("verify-code", args=[certificate.check_code]), {"sha256": sha256})
    assert "what was issued beside the PDF" in by_code.content.decode()
    by_file = stranger.post(reverse("verify"), {"sha256": sha256})
    assert f"{certificate.number}</span>, issue 1" in by_file.content.decode()
    unknown = stranger.post(reverse("verify"), {"sha256": hashlib.sha256(b"other").hexdigest()})
    assert "No certificate of this laboratory was issued as this file." in unknown.content.decode()


@pytest.mark.parametrize("given", [{}, {"sha256": "not a hash"}, {"sha256": "'"}])
def test_nothing_or_nonsense_is_asked_about(given: dict[str, str], certificate: Certificate, stranger: Client) -> None:
    assert 'class="note fail"' in stranger.post(reverse("verify"), given).content.decode()


def test_the_public_keys_check_the_file_without_the_laboratory(
    certificate: Certificate, stranger: Client, tmp_path: object
) -> None:
    path = tmp_path / "keys.pem"  # type: ignore[operator]
    path.write_bytes(stranger.get(reverse("public-keys")).content)
    content = bytes(certificate.files.get(kind="pdf").content)
    verdict = verify_pdf(content, read_public_halves(path))
    assert verdict.holds
    assert certificate.number in verdict.meaning
    assert str(certificate.check_code) not in verdict.meaning


def test_asking_makes_few_queries(
    certificate: Certificate, stranger: Client, django_assert_max_num_queries: object
) -> None:
    with django_assert_max_num_queries(12):  # type: ignore[operator]
        asked(stranger, certificate.check_code)


def test_a_table_that_an_amendment_left_as_it_was_is_that_of_the_issue_in_force(
    lab: Laboratory, certificate: Certificate, stranger: Client
) -> None:
    # given an amendment that changes no value: its table of results is that of the issue before, to the byte
    new = amend_certificate(
        by=lab.people["issuer"], at=lab.later(), reason="A word.", certificate=certificate, rule_set=lab.rule_set
    )
    publish_certificate(by=lab.people["issuer"], at=lab.later(), certificate=new)
    tables = [bytes(row.files.get(kind="csv").content) for row in (certificate, new)]
    assert tables[0] == tables[1]
    # then it is not called replaced
    state = by_file(hashlib.sha256(tables[1]).hexdigest())
    assert state
    assert (state.issue, state.word) == (2, "current")


def test_an_issue_whose_replacement_was_withdrawn_says_so(
    lab: Laboratory, certificate: Certificate, stranger: Client
) -> None:
    new = amend_certificate(
        by=lab.people["issuer"], at=lab.later(), reason="A word.", certificate=certificate, rule_set=lab.rule_set
    )
    publish_certificate(by=lab.people["issuer"], at=lab.later(), certificate=new)
    withdraw_certificate(by=lab.people["issuer"], at=lab.later(), reason="Mixed up.", certificate=new)
    assert "neither must be relied on" in asked(stranger, certificate.check_code)
