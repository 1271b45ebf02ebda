"""What anybody may know of a certificate: that it is genuine, and whether it still stands. Nothing of what it says."""

import re
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from labresults.queries.people import laboratory_shown
from reports.models import Certificate, CertificateFile

_CODE = re.compile(r"^([A-Z0-9]{4})-?([A-Z0-9]{4})$")


@dataclass(frozen=True)
class PublicState:
    """A certificate as strangers see it. Hashes are of the files as issued, hex, by kind."""

    code: str
    number: str
    issue: int
    issued_at: datetime
    laboratory: str
    is_preliminary: bool
    withdrawn_at: datetime | None
    replaced_by: int | None  # the issue that stands instead
    replaced_at: datetime | None
    replacement_withdrawn_at: datetime | None  # the newest issue, that stood instead, was taken back too
    sha256: dict[str, str]

    @property
    def word(self) -> str:
        """Current, replaced or withdrawn."""
        if self.withdrawn_at:
            return "withdrawn"
        return "replaced" if self.replaced_by else "current"

    def kind_of(self, sha256: str) -> str:
        """Which of its files has that hash; "" for none."""
        return next((kind for kind, known in self.sha256.items() if known == sha256), "")


def normal_code(written: str) -> str:
    """The check code as it is printed, from what somebody typed; "" where it cannot be one."""
    found = _CODE.match("".join(written.upper().split()))
    return f"{found[1]}-{found[2]}" if found else ""


def by_code(written: str) -> PublicState | None:
    """The certificate with a check code, once its files are public; three queries."""
    row = _rows().filter(check_code=normal_code(written)).first()
    return _state(row) if row else None


def by_file(sha256: str) -> PublicState | None:
    """The certificate one of whose files has that hash; three queries. Who asks has the file already.

    A table of results does not name its issue: where an amendment left every result as it was, its file is that of the
    issue before to the byte, and the newest one is meant.
    """
    files = CertificateFile.objects.filter(sha256=sha256).order_by("-certificate_id")
    file = files.values_list("certificate_id", flat=True).first()
    row = _rows().filter(pk=file).first() if file else None
    return _state(row) if row else None


def _rows() -> QuerySet[Certificate]:
    return Certificate.objects.select_related("withdrawal", "replaced_by").defer("document", "replaced_by__document")


def _state(row: Certificate) -> PublicState | None:
    hashes = dict(row.files.values_list("kind", "sha256"))
    if not hashes:
        return None  # frozen, and not drawn yet: nobody can have it
    newest = row
    while hasattr(newest, "replaced_by"):
        newest = newest.replaced_by
    return PublicState(
        code=row.check_code,
        number=row.number,
        issue=row.issue,
        issued_at=row.made_at,
        laboratory=str(laboratory_shown() or ""),
        is_preliminary=row.preliminary,
        withdrawn_at=_withdrawn_at(row),
        replaced_by=newest.issue if newest is not row else None,
        replaced_at=newest.made_at if newest is not row else None,
        replacement_withdrawn_at=_withdrawn_at(newest) if newest is not row else None,
        sha256=hashes,
    )


def _withdrawn_at(row: Certificate) -> datetime | None:
    return row.withdrawal.made_at if hasattr(row, "withdrawal") else None
