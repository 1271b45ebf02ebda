"""What stands on a certificate beside its numbers: sampling by the laboratory, opinions, and what the client gave."""

from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import TYPE_CHECKING, TypeVar
from zoneinfo import ZoneInfo

from labresults.queries.reportable import Reportable
from reports.document import OpinionNote, SamplingNote
from reports.queries.words import date_in_words
from reports.statements import ALL_SAMPLES

if TYPE_CHECKING:
    from labresults.models import Opinion, SamplingRecord

Told = TypeVar("Told", "SamplingRecord", "Opinion")


def sampling_notes(found: Reportable, zone: ZoneInfo) -> Iterator[SamplingNote]:
    """The sampling records that stand, those of every sample first (ISO/IEC 17025:2017, 7.8.5); no query."""
    for row in _standing(found.sampling_records):
        yield SamplingNote(
            samples=_samples(row, found),
            sampled_by=row.sampled_by,
            when=_days(found, row, zone),
            place=row.place,
            plan=row.plan,
            conditions=row.conditions,
            uncertainty=row.uncertainty,
        )


def opinions(found: Reportable, zone: ZoneInfo) -> Iterator[OpinionNote]:
    """The opinions that stand; an empty one took the older back (ISO/IEC 17025:2017, 7.8.7); no query."""
    for row in _standing(found.opinions):
        if row.text:
            when = f"{date_in_words(row.made_at.astimezone(zone))}, {row.made_at.astimezone(zone):%H:%M UTC%z}"
            yield OpinionNote(_samples(row, found), row.text, row.basis, str(row.made_by), when)


def client_said(found: Reportable) -> Iterator[str]:
    """Kinds of data on the certificate that the client gave (ISO/IEC 17025:2017, 7.8.2.2); no query."""
    yield "own identifications of the samples"
    if any(of.reference for of in found.submissions):
        yield "own reference"
    sampled_by_us = _sampled_by_us(found)
    if any(sample.sampled_at and sample.pk not in sampled_by_us for sample in found.samples):
        yield "dates of sampling"
    if any(of.sampling for of in found.submissions) and not every_sample_is_ours(found):
        yield "manner of sampling"
    if any(sample.density_kg_per_L for sample in found.samples):
        yield "densities"
    theirs = (sample for sample in found.samples if sample.pk not in sampled_by_us)
    if any(sample.field_filtered is not None or sample.preservation for sample in theirs):
        yield "filtration and preservation in the field"
    if any(one.sample_set for one in found.derived):
        yield "masses that samples of a set stand for"


def of_client(words: str, is_of_client: bool) -> str:
    """Words with the mark that the client gave them."""
    return f"{words} (as given by the client)" if words and is_of_client else words


def every_sample_is_ours(found: Reportable) -> bool:
    """Whether the laboratory itself took every sample; no query."""
    return {sample.pk for sample in found.samples} <= _sampled_by_us(found)


def _sampled_by_us(found: Reportable) -> set[int]:
    whole = {row.submission_id for row in found.sampling_records if row.sample_id is None}
    single = {row.sample_id for row in found.sampling_records if row.sample_id is not None}
    return {sample.pk for sample in found.samples if sample.submission_id in whole or sample.pk in single}


def _standing(rows: Iterable[Told]) -> list[Told]:
    """The newest of each submission and sample, those of a whole submission first."""
    newest: dict[tuple[int, int], Told] = {}
    for row in rows:
        newest[row.submission_id, row.sample_id or 0] = row
    return [newest[key] for key in sorted(newest)]


def _samples(row: "SamplingRecord | Opinion", found: Reportable) -> str:
    if row.sample_id is not None:
        return next((sample.number for sample in found.samples if sample.pk == row.sample_id), "")
    return f"all samples of {row.submission.number}" if found.further else ALL_SAMPLES


def _days(found: Reportable, row: "SamplingRecord", zone: ZoneInfo) -> str:
    of = [s for s in found.samples if s.submission_id == row.submission_id and row.sample_id in (None, s.pk)]
    days: list[datetime] = sorted(sample.sampled_at for sample in of if sample.sampled_at)
    said = list(dict.fromkeys(date_in_words(day.astimezone(zone)) for day in days))
    return said[0] if len(said) == 1 else f"{said[0]} to {said[-1]}" if said else ""
