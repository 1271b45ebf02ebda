"""The receipt of a submission, drawn from what is recorded; nothing is stored."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from labresults.calculation.working_days import working_days_between
from labresults.queries.calendar import calendar
from labresults.queries.custody import kept_until
from labresults.queries.methods import versions_asked
from labresults.queries.people import laboratory
from labresults.queries.samples import concerns_of, corrections_in, count_matrices, requests_of, samples_of
from labresults.queries.samples import submission as find_submission
from labresults.terms import Concern, Correction
from reports.paper import Notice, ReceiptDocument, ReceiptLine
from reports.queries.words import amount, day_in_words, moment_in_words, rows_in_words, short_day
from reports.render.paper import render_receipt

if TYPE_CHECKING:
    from labresults.models import Laboratory, MethodVersion, Request, Sample, Submission

CORRECTED = {
    Correction.ADDED: "added later, {day}",
    Correction.MOVED: "moved here from {before}, {day}",
    Correction.IDENTIFICATION: "identification corrected {day}, was “{before}”",
}
"""What the receipt says beside a sample that was corrected after the delivery was logged."""

TOLD = "The certificate will say so."


@dataclass(frozen=True)
class Delivered:
    """What the receipt is made of. `own`: what single samples are asked otherwise, in words, by the sample's key."""

    laboratory: "Laboratory"
    zone: ZoneInfo
    submission: "Submission"
    request: "Request"
    samples: list["Sample"]
    versions: Mapping[str, "MethodVersion"]
    own: Mapping[int, list[str]]
    corrections: list[Any]  # newest first
    concerns: list[Any]  # those of the newest request that the client is told

    @property
    def asked(self) -> list["MethodVersion"]:
        """What is asked of all samples that ask for nothing of their own."""
        for_all = [item.method.code for item in self.request.methods.all() if item.sample_id is None]
        return [self.versions[code] for code in for_all if code in self.versions]

    def asked_of(self, sample: "Sample") -> list["MethodVersion"]:
        """What is asked of one sample: its own methods, else those of all."""
        own = [code for code in self.own.get(sample.pk, ()) if code in self.versions]
        return [self.versions[code] for code in own] or self.asked


def receipt_pdf(number: str, at: datetime) -> bytes:
    """The receipt of a submission, printed at `at`; at most sixteen queries.

    Raises Submission.DoesNotExist, and what drawing raises.
    """
    return render_receipt(receipt(number, at))


def receipt(number: str, at: datetime) -> ReceiptDocument:
    """What was received, to the letter, what was asked for, and what the client must read; sixteen queries."""
    found = _found(number)
    delivery, due = found.submission, found.request.due_on
    received = delivery.received_at.astimezone(found.zone)
    unit = _unit(found.samples)
    return ReceiptDocument(
        laboratory=found.laboratory.name,
        address=tuple(found.laboratory.address.splitlines()),
        number=delivery.number,
        printed=moment_in_words(at.astimezone(found.zone)),
        due=day_in_words(due),
        due_words=_working_days(working_days_between(received.date(), due, calendar())),
        delivered=f"{len(found.samples)} sample{'' if len(found.samples) == 1 else 's'}",
        delivered_words=_together(found.samples, unit),
        asked_for=", ".join(str(version) for version in found.asked),
        asked_for_words="; ".join(_asked_in_words(found)),
        client=delivery.client.name,
        reference=delivery.reference,
        received=f"{moment_in_words(received)}, by {delivery.received_by}",
        kept_until=day_in_words(kept_until(delivery, found.request)),
        arrival=tuple(_arrival(delivery)),
        unit=unit,
        lines=tuple(_lines(found, unit)),
        otherwise=tuple(_otherwise(found)),
        notices=tuple(_notices(found)),
        received_by=str(delivery.received_by),
        received_when=moment_in_words(received),
        line_rule_nm=tuple(sorted({wave for version in found.versions.values() for wave in _wavelengths(version)})),
    )


def _found(number: str) -> Delivered:
    delivery, lab = find_submission(number), laboratory()
    if lab is None:
        raise LookupError("There is no laboratory yet: found it first.")
    zone, request = ZoneInfo(lab.time_zone), requests_of(delivery)[0]
    codes = list(dict.fromkeys(item.method.code for item in request.methods.all()))
    versions = versions_asked(codes, delivery.received_at.astimezone(zone).date())
    return Delivered(
        laboratory=lab,
        zone=zone,
        submission=delivery,
        request=request,
        samples=list(samples_of(delivery)),
        versions={version.method.code: version for version in versions},
        own=_own(request),
        corrections=corrections_in(delivery),
        concerns=[row for row in concerns_of(delivery) if row.request_id == request.pk and row.tell_client],
    )


def _own(request: "Request") -> dict[int, list[str]]:
    """What single samples are asked otherwise: codes of methods, then basis and limits; one query."""
    own: dict[int, list[str]] = {}
    for item in request.methods.all():
        if item.sample_id is not None:
            own.setdefault(item.sample_id, []).append(item.method.code)
    for terms in request.terms.select_related("limit_set"):
        limits = f"compared with {terms.limit_set}" if terms.limit_set else "not compared with limits"
        own.setdefault(terms.sample_id, []).extend([terms.basis, limits])
    return own


def _asked_in_words(found: Delivered) -> list[str]:
    """What is determined, element by element, with its units, on which basis, and what it is compared with."""
    limits = [f"compared with {found.request.limit_set}"] if found.request.limit_set else []
    return [*(_elements(version) for version in found.asked), str(found.request.basis), *limits]


def _elements(version: "MethodVersion") -> str:
    by_unit: dict[str, list[str]] = {}
    for determination in version.determinations.all():
        by_unit.setdefault(determination.unit, []).append(determination.reported_as)
    return ", ".join(f"{' '.join(names)} in {unit}" for unit, names in by_unit.items())


def _wavelengths(version: "MethodVersion") -> list[float]:
    """Wavelengths of the lines that will be measured, nm."""
    return [row.line.wavelength_nm for row in version.lines.all() if row.line.wavelength_nm is not None]


def _working_days(days: float) -> str:
    if days <= 0:
        return "on the day of receipt"
    return f"{amount(days)} working day{'' if days == 1 else 's'} after receipt"


def _arrival(delivery: "Submission") -> Iterator[Notice]:
    """What was looked at when the delivery came; nothing where nobody looked."""
    if delivery.seals:
        yield Notice("Seals", str(delivery.seals))
    if delivery.temperature_C is not None:
        yield Notice("Temperature", f"{amount(delivery.temperature_C)} °C on receipt".replace("-", "−"))
    if delivery.sampling:
        yield Notice("Sampling", f"{delivery.sampling} (as you say)")


def _unit(samples: Sequence["Sample"]) -> str:
    """The unit of what was delivered; empty where some came by mass and some by volume."""
    units = Counter("g" if s.delivered_g is not None else "mL" for s in samples if _amount(s) is not None)
    return next(iter(units)) if len(units) == 1 else ""


def _amount(sample: "Sample") -> float | None:
    return sample.delivered_g if sample.delivered_g is not None else sample.delivered_mL


def _delivered(sample: "Sample", unit: str) -> str:
    delivered = _amount(sample)
    if delivered is None:
        return ""
    own = "" if unit else " g" if sample.delivered_g is not None else " mL"
    return f"{amount(delivered)}{own}"


def _together(samples: Sequence["Sample"], unit: str) -> str:
    """Matrices, and how much came together where all of it came in one unit."""
    names = ", ".join(name for name, _ in count_matrices(list(samples)))
    amounts = [delivered for sample in samples if (delivered := _amount(sample)) is not None]
    return f"{names}, {amount(sum(amounts))} {unit} together" if unit and len(amounts) == len(samples) else names


def _lines(found: Delivered, unit: str) -> Iterator[ReceiptLine]:
    corrected: dict[int, list[str]] = {}
    for row in reversed(found.corrections):
        if row.what in CORRECTED:
            day = short_day(row.made_at.astimezone(found.zone).date())
            corrected.setdefault(row.sample_id, []).append(CORRECTED[row.what].format(day=day, before=row.before))
    for sample in found.samples:
        little = _little(sample, found.asked_of(sample))
        noted = [sample.note, *_in_the_field(sample), *sample.hazards, *corrected.get(sample.pk, ())]
        words = "; ".join(filter(None, [*noted, "little material" if little else ""]))
        warns = bool(little or sample.hazards)
        yield ReceiptLine(sample.number, sample.client_identification, _delivered(sample, unit), words, warns)


def _in_the_field(sample: "Sample") -> Iterator[str]:
    if sample.field_filtered is not None:
        yield "field filtered" if sample.field_filtered else "not filtered in the field"
    if sample.preservation:
        yield sample.preservation
    if sample.acidified_at is not None:
        yield "acidified on arrival"


def _little(sample: "Sample", asked: Sequence["MethodVersion"]) -> str:
    """What follows where less was delivered than every method twice needs; empty where it is enough."""
    needed_g = sum(version.mass_low_g or 0.0 for version in asked)
    if sample.delivered_g is None or sample.delivered_g >= 2 * needed_g:
        return ""
    if sample.delivered_g < needed_g:
        return f"{amount(sample.delivered_g)} g is less than the test portions need, {amount(needed_g)} g: bring more."
    return f"{amount(sample.delivered_g)} g is enough for one measurement and for no repeat."


def _otherwise(found: Delivered) -> Iterator[Notice]:
    """Rows that ask for something of their own, those that ask alike together."""
    pairs = ((row, ", ".join(found.own[sample.pk])) for row, sample in _rows(found) if sample.pk in found.own)
    yield from _grouped(pairs)


def _notices(found: Delivered) -> Iterator[Notice]:
    """What the client must read: the condition, what was accepted on review, little material, what was struck."""
    if found.submission.condition:
        yield Notice("Condition on receipt", found.submission.condition)
    for concern in found.concerns:
        if concern.sample_id is None:
            yield Notice("All samples", f"{concern.words} {TOLD}")
    yield from _grouped(_said_of_rows(found), {row: sample.client_identification for row, sample in _rows(found)})
    for row in found.corrections:
        who = f"{row.sample}, {row.sample.client_identification}"
        if row.what == Correction.STRUCK:
            yield Notice(who, f"Not to be measured: {row.reason}")
        elif row.what == Correction.MOVED and row.before == found.submission.number:
            yield Notice(who, f"Moved to {row.after}: {row.reason}")


def _said_of_rows(found: Delivered) -> Iterator[tuple[int, str]]:
    """Row and words: what was accepted of it and is told, and little material where nothing was said of that."""
    told: dict[int, list[Any]] = {}
    for concern in found.concerns:
        told.setdefault(concern.sample_id, []).append(concern)
    for row, sample in _rows(found):
        own = told.get(sample.pk, ())
        yield from ((row, f"{concern.words} {TOLD}") for concern in own)
        little = _little(sample, found.asked_of(sample))
        if little and all(concern.what != Concern.TOO_LITTLE for concern in own):
            yield row, little


def _rows(found: Delivered) -> Iterator[tuple[int, "Sample"]]:
    """Samples with the row in which they stand on the receipt."""
    return enumerate(found.samples, start=1)


def _grouped(pairs: Iterable[tuple[int, str]], names: Mapping[int, str] | None = None) -> Iterator[Notice]:
    """One notice for all rows of which the same is said; a row alone is called by its identification too."""
    by_words: dict[str, list[int]] = {}
    for row, words in pairs:
        by_words.setdefault(words, []).append(row)
    for words, rows in by_words.items():
        name = f", {names[rows[0]]}" if names and len(rows) == 1 else ""
        yield Notice(f"{rows_in_words(rows)}{name}", words)
