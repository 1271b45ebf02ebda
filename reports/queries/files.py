"""The files of certificates, checked against their SHA-256 whenever they are read."""

import hashlib
from collections.abc import Iterator
from pathlib import Path

from reports.models import Certificate, CertificateFile
from reports.queries.signing import SignaturesOnRecord

FILE_WORDS = {
    "pdf": "Certificate, PDF",
    "xlsx": "Spreadsheet",
    "csv": "Table, CSV",
    "long": "One row a result, CSV",
    "json": "For programs, JSON",
}
"""What each kind of file is called on pages and in letters."""


class Damaged(Exception):
    """Stored bytes do not give the SHA-256 that was recorded when they were issued."""


def content_of(file: CertificateFile) -> bytes:
    """The bytes as issued. Raises Damaged when they do not give the recorded SHA-256."""
    content = bytes(file.content)
    if hashlib.sha256(content).hexdigest() != file.sha256:
        raise Damaged(f"{file.certificate}, {file.kind}: the bytes are not those that were issued.")
    return content


def file_name(certificate: Certificate, kind: str) -> str:
    """What a downloaded file is called: C26-0297-issue-1.pdf."""
    ending = "rows.csv" if kind == "long" else kind
    return f"{certificate.number}-issue-{certificate.issue}.{ending}"


def write_files(certificate: Certificate, folder: Path) -> list[Path]:
    """Write the certificate's files into a folder and return where they lie; one query. Raises Damaged."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for file in certificate.files.order_by("kind"):
        path = folder / file_name(certificate, file.kind)
        path.write_bytes(content_of(file))
        written.append(path)
    return written


def damaged() -> Iterator[str]:
    """What is wrong with any certificate: its frozen document, or its files; three queries, streamed."""
    for certificate in Certificate.objects.iterator(chunk_size=100):
        if hashlib.sha256(certificate.document.encode()).hexdigest() != certificate.document_sha256:
            yield f"{certificate}: the frozen document does not give its SHA-256."
    signatures = SignaturesOnRecord()
    for file in CertificateFile.objects.select_related("certificate").iterator(chunk_size=20):
        try:
            content_of(file)
        except Damaged as problem:
            yield str(problem)
        if trouble := signatures.trouble(file):
            yield f"{file.certificate}, {file.kind}: {trouble}"
