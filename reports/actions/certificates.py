"""Certificates: frozen by one act, drawn and made public by another; amended and withdrawn in the open.

Freezing and drawing are two acts because drawing takes seconds: nobody waits for it with the pen in hand, and a drawing
that failed is made again from the frozen document, never from the results as they are by then.
"""

import hashlib
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from django.conf import settings

from labresults.actions.numbering import next_number
from labresults.acts import BadInput, Done, WrongState, act, require_task
from labresults.queries.history import head
from labresults.queries.reportable import Reportable, reportable
from labresults.terms import Task
from reports.actions.lines import enter_lines
from reports.actions.signing import registered_key, signed
from reports.changes import Place
from reports.document import CertificateDocument
from reports.models import (
    Certificate,
    CertificateEvidence,
    CertificateFile,
    CertificateSubmission,
    RuleSetVersion,
    Withdrawal,
)
from reports.queries.evidence import Prepared, as_rows, digest_of_evidence, gathered, own_rows
from reports.queries.pages import further_of, issues_of
from reports.queries.previews import preview, refuse_what_is_missing
from reports.queries.rule_sets import keys_of_rules
from reports.render.files import Progress, draw_files

if TYPE_CHECKING:
    from labresults.models import Person, Submission

_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"  # none that look alike


def _silent(done: int, parts: int) -> None:
    """Nobody watches the drawing."""


def _first(*, rule_set: RuleSetVersion, by: "Person", **named: Any) -> Prepared:
    """The document as it would be issued now, and the digests of everything that it will stand on."""
    document, found = preview(rule_set=rule_set, by=by, **named)
    refuse_what_is_missing(document)
    return document, found, gathered(found, by.pk, {rule_set.pk, *keys_of_rules(document)})


@act("issue_certificate", prepare=_first)
def issue_certificate(
    *,
    by: "Person",
    at: datetime,
    reason: str,
    submission: "Submission",
    rule_set: RuleSetVersion,
    preliminary: bool = False,
    further: Sequence["Submission"] = (),
    form_key: str | None = None,
    prepared: Prepared,
) -> Done[Certificate]:
    """Freeze the first issue of a certificate: strings, rules and evidence. `publish_certificate` draws it.

    further: other submissions of the same client, for a combined certificate; form_key: issues once, however often it
    is sent. Raises WrongState when a certificate of any of the submissions is there (amend it), when the form was sent
    before, or when a result changed in between; BadInput when the submissions are not of one client.
    """
    _refuse_a_second(form_key)
    together = {submission.pk, *(other.pk for other in further)}
    if len(together) <= len(further) or any(other.client_id != submission.client_id for other in further):
        raise BadInput("A combined certificate is of submissions of one client, each once: leave out the others.")
    for one in (submission, *further):
        there = issues_of(one).order_by("-pk").first()
        if there:
            raise WrongState(f"{one} has {there} already. Amend it, with the reason.")
    certificate = _freeze(by, at, reason, submission, rule_set, preliminary, prepared, None, form_key)
    return Done(certificate, subject=("certificate", str(certificate)), after=_frozen(certificate))


def _amended(*, certificate: Certificate, **named: Any) -> Prepared:
    """The document of the next issue, of the same submissions, as `_first` gives it."""
    return _first(submission=certificate.submission, further=further_of(certificate), replaces=certificate, **named)


@act("amend_certificate", prepare=_amended)
def amend_certificate(
    *,
    by: "Person",
    at: datetime,
    reason: str,
    certificate: Certificate,
    rule_set: RuleSetVersion,
    preliminary: bool = False,
    reasons: Mapping[Place, str] = MappingProxyType({}),
    form_key: str | None = None,
    prepared: Prepared,
) -> Done[Certificate]:
    """Freeze a new issue that names the one it replaces and says what changed and why (ISO/IEC 17025:2017, 7.8.8).

    reason: of all of it; reasons: of single changes, where they have one of their own that the record does not tell.
    Raises BadInput without a reason, WrongState when a newer issue is there already or the form was sent before.
    """
    _refuse_a_second(form_key)
    if not reason.strip():
        raise BadInput("An amendment says why: give the reason.")
    newer = Certificate.objects.filter(replaces=certificate).first()  # asked anew: the row may be older than the lock
    if newer:
        raise WrongState(f"{certificate} was replaced by {newer} already. Amend that one.")
    new = _freeze(by, at, reason, certificate.submission, rule_set, preliminary, prepared, certificate, form_key)
    return Done(
        new,
        subject=("certificate", str(new)),
        before=_frozen(certificate),
        after={**_frozen(new), "replaces": str(certificate)},
    )


def _drawn(*, certificate: Certificate, at: datetime, progress: Progress = _silent, **_: object) -> dict[str, bytes]:
    """Every file, drawn from the frozen document before the lock; the PDF with the laboratory's signature."""
    document = CertificateDocument.from_json(certificate.document)
    registered_key(at)  # asked for first: drawing may take long
    files = draw_files(document, progress)
    return files | {"pdf": signed(files["pdf"], document, at)}


@act("publish_certificate", prepare=_drawn)
def publish_certificate(
    *,
    by: "Person",
    at: datetime,
    reason: str,
    certificate: Certificate,
    progress: Progress = _silent,
    prepared: dict[str, bytes],
) -> Done[list[CertificateFile]]:
    """Keep the bytes of the certificate's files; from now on it is public. Raises WrongState when it is already.

    progress: called with parts done and parts in all while it is drawn.
    """
    if certificate.files.exists():
        raise WrongState(f"{certificate} is published already; its files never change.")
    if hashlib.sha256(certificate.document.encode()).hexdigest() != certificate.document_sha256:
        raise WrongState(f"The document of {certificate} does not give its SHA-256. Tell the quality manager.")
    registered_key(at)  # the key that signed may have been ended while it was drawn
    files = [
        CertificateFile.objects.create(
            certificate=certificate,
            kind=kind,
            content=content,
            sha256=hashlib.sha256(content).hexdigest(),
            made_by=by,
            made_at=at,
        )
        for kind, content in prepared.items()
    ]
    return Done(files, subject=("certificate", str(certificate)), after={file.kind: file.sha256 for file in files})


@act("withdraw_certificate")
def withdraw_certificate(*, by: "Person", at: datetime, reason: str, certificate: Certificate) -> Done[Withdrawal]:
    """Take a certificate back, in the open: it stays readable and says so. Raises BadInput without a reason."""
    if not reason.strip():
        raise BadInput("A withdrawal says why: give the reason.")
    if Withdrawal.objects.filter(certificate=certificate).exists():
        raise WrongState(f"{certificate} was withdrawn already.")
    row = Withdrawal.objects.create(certificate=certificate, reason=reason, made_by=by, made_at=at)
    return Done(row, subject=("certificate", str(certificate)), after={"withdrawn": True})


def _freeze(
    by: "Person",
    at: datetime,
    reason: str,
    submission: "Submission",
    rule_set: RuleSetVersion,
    preliminary: bool,
    prepared: Prepared,
    replaces: Certificate | None,
    form_key: str | None,
) -> Certificate:
    document, found, digested = prepared
    _refuse_what_changed(found)
    for version in found.method_versions:
        require_task(by, Task.ISSUE, version.method, at.date())
    _, chain_head = head()
    number = replaces.number if replaces else next_number("C", at)
    code = _check_code()
    address = f"{settings.ADDRESS}/v/{code}" if settings.ADDRESS else ""
    document = replace(document, number=number, chain_head=chain_head, check_code=code, verify_address=address)
    text = document.to_json()
    certificate = Certificate.objects.create(
        number=number,
        issue=document.issue,
        submission=submission,
        rule_set=rule_set,
        replaces=replaces,
        reason=reason,
        document=text,
        document_sha256=hashlib.sha256(text.encode()).hexdigest(),
        chain_head=chain_head,
        check_code=code,
        preliminary=preliminary,
        form_key=form_key or None,
        made_by=by,
        made_at=at,
    )
    CertificateSubmission.objects.bulk_create(
        CertificateSubmission(certificate=certificate, submission=other) for other in found.further
    )
    enter_lines(certificate, document, found)
    CertificateEvidence.objects.bulk_create(as_rows(certificate, [*digested, *own_rows(certificate)]))
    return certificate


def _refuse_a_second(form_key: str | None) -> None:
    there = Certificate.objects.filter(form_key=form_key).first() if form_key else None
    if there:
        raise WrongState(f"This form was sent before: {there} came of it.")


def _refuse_what_changed(found: Reportable) -> None:
    """Nothing changes without leaving an event: where none is newer, nothing did."""
    _, newest = head()
    if newest == found.newest_event:
        return
    if _evidence(reportable(found.submission, found.further)) != _evidence(found):
        raise WrongState("Something that the certificate says changed in the meantime. Look at the preview again.")


def _evidence(found: Reportable) -> tuple[object, ...]:
    """What the document stands on: if any of it differs under the lock, it is composed again."""
    return (
        [request.pk for request in found.requests.values()],
        [(sample.number, sample.client_identification) for sample in found.samples],
        sorted((key, result.pk) for key, result in found.results.items()),
        sorted((pk, item.review_id) for pk, item in found.decisions.items()),
        sorted(row.pk for row in found.not_measured.values()),
        [(one.of, one.row.pk, one.derived) for one in found.derived],
        sorted(outcome.pk for standing in found.failures.values() for outcome in standing["accepted"]),
        [[row.pk for row in rows] for rows in (found.opinions, found.sampling_records, found.concerns, found.limits)],
        sorted(row.pk for row in found.scope),
        sorted((of, terms.pk) for of, terms in found.terms.items()),
    )


def _check_code() -> str:
    """Eight letters that nobody can guess: whoever has them has seen the certificate."""
    letters = "".join(secrets.choice(_LETTERS) for _ in range(8))
    return f"{letters[:4]}-{letters[4:]}"


def _frozen(certificate: Certificate) -> dict[str, object]:
    return {
        "submission": ", ".join([certificate.submission.number, *(other.number for other in further_of(certificate))]),
        "document": certificate.document_sha256,
        "rule set": str(certificate.rule_set),
        "preliminary": certificate.preliminary,
        "evidence": digest_of_evidence(certificate.evidence.all()),
    }
