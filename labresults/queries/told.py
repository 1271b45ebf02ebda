"""What was said of a submission: how the laboratory took its samples, and opinions."""

from typing import TypeVar

from labresults.models import Opinion, SamplingRecord, Submission

Told = TypeVar("Told", SamplingRecord, Opinion)


def sampling_of(submission: Submission) -> list[tuple[SamplingRecord, bool]]:
    """Every sampling record, the newest first, each with whether it stands; one query."""
    return _with_standing(list(submission.sampling_records.select_related("sample", "made_by").order_by("-pk")))


def opinions_of(submission: Submission) -> list[tuple[Opinion, bool]]:
    """Every opinion, the newest first, each with whether it stands; one query."""
    return _with_standing(list(submission.opinions.select_related("sample", "made_by").order_by("-pk")))


def _with_standing(rows: list[Told]) -> list[tuple[Told, bool]]:
    seen: set[int | None] = set()
    found = []
    for row in rows:
        found.append((row, row.sample_id not in seen))
        seen.add(row.sample_id)
    return found
