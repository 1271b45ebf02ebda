"""Attachments: photographs and documents of a delivery, each stored once by its SHA-256, as they came."""

import hashlib
from datetime import datetime

from labresults.acts import BadInput, Done, act
from labresults.models import Attachment, Person, Sample, StoredFile, Submission
from labresults.readers.attached import ALLOWED, LARGEST_BYTES, LARGEST_MB, Kind, kind_of, plain_name

_LONGEST_WORDS = 200


@act("attach_file")
def attach_file(
    *,
    by: Person,
    at: datetime,
    reason: str,
    submission: Submission,
    name: str,
    content: bytes,
    words: str = "",
    sample: Sample | None = None,
) -> Done[Attachment]:
    """Attach a photograph or document to a submission, or to one sample of it. The bytes are kept as they are.

    What a photograph says of itself (time, camera, place) is evidence and stays in it. words: what it shows. Raises
    BadInput for what may not be attached, is too large, or is attached there already.
    """
    kind = _refuse_unfit(name, content, words)
    if sample is not None and sample.submission_id != submission.pk:
        raise BadInput(f"{sample} is not in {submission}. Attach it on the sample's own page.")
    sha256 = hashlib.sha256(content).hexdigest()
    known = StoredFile.objects.filter(sha256=sha256).defer("content").first()
    there = known and Attachment.objects.filter(submission=submission, sample=sample, file=known).first()
    if there:
        raise BadInput(f"This file is attached to {sample or submission} already, as “{there.name}”.")
    file = known or StoredFile.objects.create(
        sha256=sha256, media_type=kind.media_type, size=len(content), content=content
    )
    row = Attachment.objects.create(
        submission=submission,
        sample=sample,
        file=file,
        name=plain_name(name, kind),
        words=words.strip(),
        made_by=by,
        made_at=at,
    )
    return Done(
        row,
        subject=("sample", sample.number) if sample else ("submission", submission.number),
        after={"name": row.name, "words": row.words, "kind": kind.words, "bytes": len(content), "sha256": sha256},
    )


def _refuse_unfit(name: str, content: bytes, words: str) -> Kind:
    """What the file is, by its bytes."""
    if not content:
        raise BadInput(f"“{name}” is empty. Save it again and choose it anew.")
    if len(content) > LARGEST_BYTES:
        size_mb = len(content) / 1024 / 1024
        raise BadInput(f"“{name}” has {size_mb:.1f} MB; at most {LARGEST_MB} MB are kept. Make it smaller.")
    if len(words.strip()) > _LONGEST_WORDS:
        raise BadInput(f"What it shows is said in at most {_LONGEST_WORDS} letters.")
    kind = kind_of(content)
    if kind is None:
        raise BadInput(
            f"“{name}” is not a file that can be attached, whatever its name says: {ALLOWED}. Save it as one of these."
        )
    return kind
