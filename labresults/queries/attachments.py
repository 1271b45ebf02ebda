"""Photographs and documents of a delivery, checked against their SHA-256 whenever they are read."""

import hashlib
from collections.abc import Iterator

from labresults.acts import WrongState
from labresults.models import Attachment, Sample, StoredFile, Submission


def attached_to(delivery: Submission) -> list[Attachment]:
    """What is attached to a submission or to any of its samples, without the bytes, oldest first; one query."""
    return _in_order(delivery.attachments)


def attached_to_sample(item: Sample) -> list[Attachment]:
    """What is attached to one sample, without the bytes, oldest first; one query."""
    return _in_order(item.attachments)


def attachment(pk: int) -> Attachment:
    """One attachment with its bytes; one query. Raises Attachment.DoesNotExist."""
    return Attachment.objects.select_related("file", "submission", "sample").get(pk=pk)


def content_of(file: StoredFile) -> bytes:
    """The bytes as they were attached. Raises WrongState when they do not give the recorded SHA-256."""
    content = bytes(file.content)
    if hashlib.sha256(content).hexdigest() != file.sha256:
        raise WrongState("The bytes are not those that were attached, so they are not shown. Tell the quality manager.")
    return content


def damaged() -> Iterator[str]:
    """What is wrong with any stored file; one query, streamed."""
    for file in StoredFile.objects.iterator(chunk_size=20):
        if hashlib.sha256(bytes(file.content)).hexdigest() != file.sha256:
            yield f"Attached file {file.sha256}: its bytes do not give this SHA-256."


def _in_order(rows: "object") -> list[Attachment]:
    return list(rows.select_related("file", "sample", "made_by").defer("file__content").order_by("pk"))  # type: ignore[attr-defined]
