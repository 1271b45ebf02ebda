"""The public halves of the keys that the laboratory signs with, and whether its files are as they were signed."""

from reports.models import CertificateFile, SigningCertificate
from reports.signing.keys import public_half
from reports.signing.verify import verify_pdf


def keys_in_use() -> list[SigningCertificate]:
    """Every key that was ever used and is not compromised, the newest first; one query."""
    rows = SigningCertificate.objects.exclude(end__is_compromised=True)
    return list(rows.select_related("end").order_by("-pk"))


class SignaturesOnRecord:
    """Every key that was ever on record, to look at the files of many certificates; one query when it is made."""

    def __init__(self) -> None:
        rows = list(SigningCertificate.objects.order_by("pk"))
        self._halves = [public_half(row.pem) for row in rows]
        self._since = rows[0].made_at if rows else None

    def trouble(self, file: CertificateFile) -> str:
        """What is wrong with the signature of an issued PDF; "" for nothing, and for files older than the first key."""
        if file.kind != "pdf" or self._since is None or file.made_at < self._since:
            return ""
        return " ".join(verify_pdf(bytes(file.content), self._halves).problems)
