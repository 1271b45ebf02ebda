"""Whether certificates are what they were when they went out: files, rows, and all that they stand on."""

from collections.abc import Iterator

from labresults.queries.history import Told, told_of
from reports.models import Certificate, CertificateEvidence, CertificateFile, Withdrawal
from reports.queries.evidence import differences, digest_of_evidence
from reports.queries.files import damaged

_ISSUED = ("issue_certificate", "amend_certificate")


def problems() -> Iterator[str]:
    """What is not as it was, in words: documents, files, what the audit trail says of them, and rows of their chains.

    About 80 queries a certificate.
    """
    yield from damaged()
    yield from against_the_trail()
    for certificate in Certificate.objects.select_related("submission").defer("document").order_by("pk"):
        yield from chain_problems(certificate)


def chain_problems(certificate: Certificate) -> Iterator[str]:
    """Rows that one certificate stands on and that are not what they were; about 80 queries.

    Nothing is said of one that was issued before evidence was kept.
    """
    evidence = list(certificate.evidence.order_by("pk"))
    yield from (f"{certificate}: {row}" for row in differences(certificate, evidence))


def issued_without_evidence() -> int:
    """How many certificates were issued before their evidence was kept; one query."""
    return Certificate.objects.filter(evidence=None).count()


def against_the_trail() -> Iterator[str]:
    """Certificates, files and withdrawals that differ from what their audit events say; about six queries."""
    certificates = {str(row): row for row in Certificate.objects.defer("document")}
    known: dict[str, set[str]] = {"issued": set(), "files": set(), "withdrawn": set()}
    for told in told_of((*_ISSUED, "publish_certificate", "withdraw_certificate")):
        row = certificates.get(told.subject)
        if row is None:
            yield f"{told.subject} is gone: event {told.seq} says that it was there."
        elif told.act in _ISSUED:
            known["issued"].add(told.subject)
            yield from _of_issue(row, told)
        elif told.act == "publish_certificate":
            known["files"].add(told.subject)
            yield from _of_files(row, told)
        else:
            known["withdrawn"].add(told.subject)
            yield from _of_withdrawal(row, told)
    yield from _without_events(certificates, known)


def _of_issue(row: Certificate, told: Told) -> Iterator[str]:
    said = (told.after.get("document"), told.by, told.at)
    if said != (row.document_sha256, row.made_by_id, row.made_at):
        yield f"{row} is not what event {told.seq} says that was issued."
    if told.why != row.reason:
        yield f"{row}: its reason is not the one in event {told.seq}."
    if "evidence" in told.after and told.after["evidence"] != digest_of_evidence(row.evidence.all()):
        yield f"{row}: its evidence is not what event {told.seq} says."


def _of_files(row: Certificate, told: Told) -> Iterator[str]:
    files = list(CertificateFile.objects.filter(certificate=row).defer("content"))
    if {file.kind: file.sha256 for file in files} != told.after:
        yield f"{row}: its files are not those of event {told.seq}."
    for file in files:
        if (file.made_by_id, file.made_at) != (told.by, told.at):
            yield f"{row}, {file.kind}: made by or at another than event {told.seq} says."


def _of_withdrawal(row: Certificate, told: Told) -> Iterator[str]:
    found = Withdrawal.objects.filter(certificate=row).first()
    if found is None:
        yield f"{row} was withdrawn by event {told.seq}, and its withdrawal is gone."
    elif (found.reason, found.made_by_id, found.made_at) != (told.why, told.by, told.at):
        yield f"{row}: its withdrawal is not the one of event {told.seq}."


def _without_events(certificates: dict[str, Certificate], known: dict[str, set[str]]) -> Iterator[str]:
    """Rows that no event speaks of: slipped in beside the acts."""
    keys = {row.pk: name for name, row in certificates.items()}
    found = {
        "issued": list(keys),
        "files": CertificateFile.objects.values_list("certificate_id", flat=True).distinct(),
        "withdrawn": Withdrawal.objects.values_list("certificate_id", flat=True),
    }
    for what, of in found.items():
        for key in of:
            if keys.get(key) not in known[what]:
                yield f"{keys.get(key, f'A certificate that is not there ({key})')} was {what} without an event."
    for key in CertificateEvidence.objects.exclude(certificate__in=keys).values_list("pk", flat=True):
        yield f"Evidence {key} is of no certificate."
