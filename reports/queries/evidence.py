"""What a certificate stood on when it was issued, row by row, and what of it is not as it was.

Of each table the keys of its rows and the first eight bytes of each row's SHA-256 are kept, compressed; their own
SHA-256 stands in the table's row, and that of all tables in the audit event of the issue.
"""

import hashlib
import json
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.apps import apps

from labresults.chain import canonical
from labresults.queries.chain_rows import (
    DIGEST_BYTES,
    Digested,
    columns_of,
    corrected_since,
    digest_of_row,
    digest_rows_of,
    gather,
    rows_by_key,
)
from labresults.queries.reportable import Reportable
from reports.document import CertificateDocument
from reports.models import (
    Certificate,
    CertificateEvidence,
    CertificateInput,
    CertificateLine,
    CertificateSubmission,
    RuleSetVersion,
)
from reports.queries.row_names import name_row

OWN_TABLES = (Certificate, CertificateLine, CertificateInput, CertificateSubmission)
"""Rows that are made with a certificate, and stand on nothing before it."""


@dataclass(frozen=True)
class Differs:
    """A row that is not what it was when the certificate was issued."""

    table: str
    key: Any
    what: str  # which row it is, in words
    how: str

    def __str__(self) -> str:
        return f"{self.what} ({self.table} {self.key}) {self.how}"


Prepared = tuple[CertificateDocument, Reportable, list[Digested]]
"""What issuing is given from before the lock: the document, what it was composed from, and what that stands on."""


def gathered(found: Reportable, issuer: int, rule_sets: Iterable[int]) -> list[Digested]:
    """Digests of everything that an issue will stand on, given the keys of its issuer and of every rule set that it is
    printed by; about 70 queries.
    """
    rules = rows_by_key(RuleSetVersion, columns_of(RuleSetVersion), sorted(rule_sets))
    inputs = {key for one in found.derived for key in one.derived.keys}
    return [*gather(found, [issuer], inputs), digest_rows_of(RuleSetVersion, list(rules.values()))]


def own_rows(certificate: Certificate) -> list[Digested]:
    """Digests of the rows that were made with a certificate; four queries."""
    of = {Certificate: "pk", CertificateInput: "line__certificate"}
    found = []
    for model in OWN_TABLES:
        rows = model._default_manager.filter(**{of.get(model, "certificate"): certificate.pk}).order_by("pk")
        found.append(digest_rows_of(model, list(rows.values_list(*columns_of(model)))))
    return [rows for rows in found if rows.keys]


def as_rows(certificate: Certificate, digested: Iterable[Digested]) -> list[CertificateEvidence]:
    """What is kept of digests, not stored yet."""
    return [
        CertificateEvidence(
            certificate=certificate,
            table=rows.label,
            rows=len(rows.keys),
            sha256=hashlib.sha256(packed).hexdigest(),
            digests=zlib.compress(packed),
        )
        for rows in digested
        for packed in [_packed(rows)]
    ]


def digest_of_evidence(rows: Iterable[CertificateEvidence]) -> str:
    """One SHA-256 [hex] over all tables, for the audit event of the issue."""
    said = sorted([row.table, row.rows, row.sha256] for row in rows)
    return hashlib.sha256(canonical({"tables": said}).encode()).hexdigest()


def differences(certificate: Certificate, evidence: Iterable[CertificateEvidence]) -> Iterator[Differs]:
    """Each row of a certificate's chain that is not what it was, tables in their order; about 70 queries.

    What was corrected by name since, such as a sample's identification, is compared as it was before.
    """
    for row in evidence:
        raw = unpacked(row)
        if raw is None:
            yield Differs("CertificateEvidence", row.pk, f"evidence of {row.table}", "does not give its SHA-256")
            continue
        yield from _of_table(raw, certificate)


def _packed(rows: Digested) -> bytes:
    head = json.dumps([rows.label, list(rows.columns), list(rows.keys)], separators=(",", ":"))
    return head.encode() + b"\n" + rows.digests


def unpacked(row: CertificateEvidence) -> Digested | None:
    """The digests as they were kept; None where they are not what their SHA-256 says, or not of this table."""
    try:
        packed = zlib.decompress(bytes(row.digests))
    except zlib.error:
        return None
    head, _, digests = packed.partition(b"\n")
    if hashlib.sha256(packed).hexdigest() != row.sha256:
        return None
    label, columns, keys = json.loads(head)
    if label != row.table or len(keys) != row.rows or len(digests) != DIGEST_BYTES * len(keys):
        return None
    return Digested(label, tuple(columns), tuple(keys), digests)


def _of_table(kept: Digested, certificate: Certificate) -> Iterator[Differs]:
    model = apps.get_model(kept.label)
    columns = {f.attname for f in model._meta.concrete_fields}
    gone = [name for name in kept.columns if name not in columns]
    if gone:
        yield Differs(kept.label, "", "its columns", f"{', '.join(gone)} are no longer there: it cannot be compared")
        return
    now = rows_by_key(model, kept.columns, kept.keys)
    stood: Mapping[int, Mapping[str, Any]] = {}
    for place, key in enumerate(kept.keys):
        digest = kept.digests[place * DIGEST_BYTES : (place + 1) * DIGEST_BYTES]
        row = now.get(key)
        if row is not None and digest_of_row(row) == digest:
            continue
        if row is not None and kept.label == "labresults.Sample":
            stood = stood or corrected_since(kept.keys, certificate.made_at)
            if any(digest_of_row(as_was) == digest for as_was in _as_it_was(kept.columns, row, stood.get(key, {}))):
                continue
        how = "is gone" if row is None else "is not what it was when the certificate was issued"
        yield Differs(model._meta.object_name or kept.label, key, name_row(model, key), how)


def _as_it_was(columns: Sequence[str], row: Sequence[Any], stood: Mapping[str, Any]) -> Iterator[tuple[Any, ...]]:
    """A sample before it was corrected by name; its place in the submission that it left is not on record."""
    if not stood:
        return
    before = [stood.get(name, value) for name, value in zip(columns, row, strict=True)]
    if "ordinal" not in stood:
        yield tuple(before)
        return
    place = columns.index("ordinal")
    for ordinal in range(1, 10_001):
        before[place] = ordinal
        yield tuple(before)
