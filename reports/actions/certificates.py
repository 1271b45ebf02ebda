"""Certificates: frozen by one act, drawn and made public by another; amended and withdrawn in the open.

Freezing and drawing are two acts because drawing takes seconds: nobody waits for it with the pen in hand, and a drawing
that failed is made again from the frozen document, never from the results as they are by then.
"""

import hashlib
import secrets
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from labresults.actions.numbering import next_number
from labresults.acts import BadInput, Done, WrongState, act, require_task
from labresults.queries.history import head
from labresults.queries.reportable import Reportable, reportable
from labresults.terms import Task
from reports.document import CertificateDocument
from reports.models import Certificate, CertificateFile, CertificateLine, RuleSetVersion, Withdrawal
from reports.queries.previews import preview
from reports.render.pdf import render_certificate
from reports.render.xlsx import render_workbook
from reports.rules.ruleset import RuleSet

if TYPE_CHECKING:
    from labresults.models import Person, Submission

_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"  # none that look alike


@act("save_rule_set")
def save_rule_set(*, by: "Person", at: datetime, reason: str, rule_set: RuleSet) -> Done[RuleSetVersion]:
    """Save a rule set as a new version. Raises BadInput when that version is there."""
    if RuleSetVersion.objects.filter(name=rule_set.name, version=rule_set.version).exists():
        raise BadInput(f"{rule_set.name} v{rule_set.version} is there already. Save it under the next version.")
    row = RuleSetVersion.objects.create(
        name=rule_set.name, version=rule_set.version, specification=rule_set.to_json(), made_by=by, made_at=at
    )
    return Done(row, subject=("rule set", str(row)), after={"specification": row.specification})


@act("issue_certificate", prepare=preview)
def issue_certificate(
    *,
    by: "Person",
    at: datetime,
    reason: str,
    submission: "Submission",
    rule_set: RuleSetVersion,
    preliminary: bool = False,
    prepared: tuple[CertificateDocument, Reportable],
) -> Done[Certificate]:
    """Freeze the first issue of a certificate: strings, rules and evidence. `publish_certificate` draws it.

    Raises WrongState when a certificate of this submission is there (amend it), or a result changed in between.
    """
    there = Certificate.objects.filter(submission=submission).order_by("-issue").first()
    if there:
        raise WrongState(f"{submission} has {there} already. Amend it, with the reason.")
    certificate = _freeze(by, at, reason, submission, rule_set, preliminary, prepared, replaces=None)
    return Done(certificate, subject=("certificate", str(certificate)), after=_frozen(certificate))


def _amended(*, certificate: Certificate, rule_set: RuleSetVersion, **named: object) -> object:
    """The document of the next issue."""
    return preview(submission=certificate.submission, rule_set=rule_set, replaces=certificate, **named)  # type: ignore[arg-type]


@act("amend_certificate", prepare=_amended)
def amend_certificate(
    *,
    by: "Person",
    at: datetime,
    reason: str,
    certificate: Certificate,
    rule_set: RuleSetVersion,
    preliminary: bool = False,
    prepared: tuple[CertificateDocument, Reportable],
) -> Done[Certificate]:
    """Freeze a new issue that names the one it replaces and says what changed and why (ISO/IEC 17025:2017, 7.8.8).

    Raises BadInput without a reason, WrongState when a newer issue is there already.
    """
    if not reason:
        raise BadInput("An amendment says why: give the reason.")
    if hasattr(certificate, "replaced_by"):
        raise WrongState(f"{certificate} was replaced by {certificate.replaced_by} already. Amend that one.")
    new = _freeze(by, at, reason, certificate.submission, rule_set, preliminary, prepared, replaces=certificate)
    return Done(
        new,
        subject=("certificate", str(new)),
        before=_frozen(certificate),
        after={**_frozen(new), "replaces": str(certificate)},
    )


def _drawn(*, certificate: Certificate, **_: object) -> dict[str, bytes]:
    """Both files, drawn from the frozen document before the lock."""
    document = CertificateDocument.from_json(certificate.document)
    return {"pdf": render_certificate(document), "xlsx": render_workbook(document)}


@act("publish_certificate", prepare=_drawn)
def publish_certificate(
    *, by: "Person", at: datetime, reason: str, certificate: Certificate, prepared: dict[str, bytes]
) -> Done[list[CertificateFile]]:
    """Keep the bytes of the certificate's files; from now on it is public. Raises WrongState when it is already."""
    if certificate.files.exists():
        raise WrongState(f"{certificate} is published already; its files never change.")
    if hashlib.sha256(certificate.document.encode()).hexdigest() != certificate.document_sha256:
        raise WrongState(f"The document of {certificate} does not give its SHA-256. Tell the quality manager.")
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
    if not reason:
        raise BadInput("A withdrawal says why: give the reason.")
    if hasattr(certificate, "withdrawal"):
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
    prepared: tuple[CertificateDocument, Reportable],
    replaces: Certificate | None,
) -> Certificate:
    document, found = prepared
    now = reportable(submission)
    if _evidence(now) != _evidence(found):
        raise WrongState("A result or a review changed in the meantime. Look at the preview again.")
    for version in found.method_versions:
        require_task(by, Task.ISSUE, version.method, at.date())
    _, chain_head = head()
    number = replaces.number if replaces else next_number("C", at)
    code = _check_code()
    document = replace(document, number=number, chain_head=chain_head, check_code=code)
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
        made_by=by,
        made_at=at,
    )
    samples = {sample.number: sample.pk for sample in found.samples}
    units = {column.key: column.unit for column in document.columns}
    CertificateLine.objects.bulk_create(
        CertificateLine(
            certificate=certificate,
            result_id=cell.result,
            sample_id=samples[row.number],
            column=cell.column,
            printed=cell.printed,
            unit=units[cell.column],
        )
        for row in document.rows
        for cell in row.cells
        if cell.printed
    )
    return certificate


def _evidence(found: Reportable) -> tuple[object, ...]:
    """What the document stands on: if any of it differs under the lock, it is composed again."""
    return (
        found.request.pk,
        sorted((key, result.pk) for key, result in found.results.items()),
        sorted((pk, item.review_id) for pk, item in found.decisions.items()),
        sorted(row.pk for row in found.not_measured.values()),
    )


def _check_code() -> str:
    """Eight letters that nobody can guess: whoever has them has seen the certificate."""
    letters = "".join(secrets.choice(_LETTERS) for _ in range(8))
    return f"{letters[:4]}-{letters[4:]}"


def _frozen(certificate: Certificate) -> dict[str, object]:
    return {
        "submission": certificate.submission.number,
        "document": certificate.document_sha256,
        "rule set": str(certificate.rule_set),
        "preliminary": certificate.preliminary,
    }
