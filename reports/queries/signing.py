"""The public halves of the keys that the laboratory signs with, and whether its files are as they were signed."""

from collections.abc import Sequence
from pathlib import Path

from django.conf import settings
from django.core.cache import cache

from reports.models import CertificateFile, SigningCertificate
from reports.signing.keys import KeyTrouble, PublicHalf, public_half, read_public_halves
from reports.signing.stamps import TimeStamp
from reports.signing.verify import verify_pdf

_KEPT_S = 86_400


def keys_in_use() -> list[SigningCertificate]:
    """Every key that was ever used and is not compromised, the newest first; one query."""
    rows = SigningCertificate.objects.exclude(end__is_compromised=True)
    return list(rows.select_related("end").order_by("-pk"))


def stamp_roots() -> Sequence[PublicHalf]:
    """Roots of the authorities of time stamps that the settings name, from their file; none where it is not set.

    No query. Raises KeyTrouble when the file cannot be read.
    """
    return read_public_halves(Path(settings.TIMESTAMPS_ROOT)) if settings.TIMESTAMPS_ROOT else ()


def _readable_roots() -> Sequence[PublicHalf]:
    """None where the file cannot be read: stamps are then not judged; checks and drawing say what is wrong."""
    try:
        return stamp_roots()
    except KeyTrouble:
        return ()


def stamp_of(sha256: str) -> TimeStamp | None:
    """The outside clock's stamp in an issued PDF, by the hash of its bytes; None for none. Two queries, once a day."""
    roots = _readable_roots()
    name = f"stamp-{sha256}-{'-'.join(root.sha256[:16] for root in roots)}"
    known = cache.get(name)
    if known is None:
        file = CertificateFile.objects.filter(sha256=sha256, kind="pdf").first()
        halves = [public_half(row.pem) for row in SigningCertificate.objects.order_by("pk")]
        known = [verify_pdf(bytes(file.content), halves, roots).stamp if file else None]
        cache.set(name, known, _KEPT_S)
    stamp: TimeStamp | None = known[0]
    return stamp


class SignaturesOnRecord:
    """Every key that was ever on record, to look at the files of many certificates; one query when it is made."""

    def __init__(self) -> None:
        rows = list(SigningCertificate.objects.order_by("pk"))
        self._halves = [public_half(row.pem) for row in rows]
        self._roots = _readable_roots()
        self._since = rows[0].made_at if rows else None

    def trouble(self, file: CertificateFile) -> str:
        """What is wrong with the signature of an issued PDF; "" for nothing, and for files older than the first key."""
        if file.kind != "pdf" or self._since is None or file.made_at < self._since:
            return ""
        return " ".join(verify_pdf(bytes(file.content), self._halves, self._roots).problems)
