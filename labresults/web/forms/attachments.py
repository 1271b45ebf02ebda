"""What is attached to a delivery: files that lie on this machine, or a photograph taken now."""

from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile

from labresults.actions.attachments import LARGEST_BYTES, LARGEST_MB

ACCEPTED = "image/jpeg,image/png,image/webp,application/pdf,text/plain,.csv,.xlsx"


class _ManyFiles(forms.FileInput):
    """An input that takes several files at once."""

    allow_multiple_selected = True


class _Files(forms.FileField):
    """Files, each within the size that is kept. Empty ones are left to the act, which says so by name."""

    def clean(self, data: Any, initial: Any = None) -> list[UploadedFile]:
        for upload in data or []:
            if upload.size > LARGEST_BYTES:
                size_mb = upload.size / 1024 / 1024
                raise forms.ValidationError(
                    f"“{upload.name}” has {size_mb:.1f} MB; at most {LARGEST_MB} MB are kept. Make it smaller."
                )
        return list(data or [])


class AttachForm(forms.Form):
    """Files or a photograph, and what they show."""

    files = _Files(
        label="Files",
        required=False,
        widget=_ManyFiles(attrs={"accept": ACCEPTED}),
        help_text=f"JPEG, PNG, WebP, PDF, text, CSV or XLSX; at most {LARGEST_MB} MB each.",
    )
    photo = _Files(
        label="Take a photograph",
        required=False,
        widget=_ManyFiles(attrs={"accept": "image/jpeg", "capture": "environment"}),
    )
    words = forms.CharField(label="What it shows", required=False, max_length=200)

    def uploads(self) -> list[UploadedFile]:
        """All files that were sent."""
        return [*self.cleaned_data["files"], *self.cleaned_data["photo"]]
