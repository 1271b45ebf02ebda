"""What a stranger brings to have a certificate looked at."""

import hashlib
from typing import Any

from django import forms

MOST_BYTES = 64_000_000


class FileForm(forms.Form):
    """A file, or only its hash where the browser has computed it: then the file never leaves the reader's machine."""

    file = forms.FileField(required=False, allow_empty_file=True)
    sha256 = forms.RegexField(r"^[0-9a-f]{64}$", required=False)

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or {}
        file = given.get("file")
        if file is None and not given.get("sha256"):
            raise forms.ValidationError("Choose the file of the certificate first.")
        if file is not None:
            if file.size > MOST_BYTES:
                raise forms.ValidationError(f"The file is larger than {MOST_BYTES // 10**6} MB: no certificate is.")
            given["sha256"] = _hash(file)
        return given


def _hash(file: Any) -> str:
    digest = hashlib.sha256()
    for chunk in file.chunks():
        digest.update(chunk)
    return digest.hexdigest()
