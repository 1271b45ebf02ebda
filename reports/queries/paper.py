"""What the counter prints of a submission: receipt and labels, drawn from what is recorded; nothing is stored."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from labresults.queries.people import laboratory
from labresults.queries.samples import count_matrices, requests_of, samples_of
from labresults.queries.samples import submission as find_submission
from labresults.queries.shelf import determinations_of, in_force, lines_of, method_versions
from reports.paper import Label, LabelSheet, Notice, ReceiptDocument, ReceiptLine
from reports.queries.facts import in_words
from reports.render.paper import render_labels, render_receipt

if TYPE_CHECKING:
    from labresults.models import Laboratory, MethodVersion, Request, Sample, Submission

KEPT_DAYS = 90
"""How long samples are kept after the day on which they are due (a proposal; common practice, no source)."""

_SATURDAY = 5


@dataclass(frozen=True)
class Delivered:
    """What both papers are made of."""

    laboratory: "Laboratory"
    zone: ZoneInfo
    submission: "Submission"
    request: "Request"
    samples: list["Sample"]


def receipt_pdf(number: str, at: datetime) -> bytes:
    """The receipt of a submission, printed at `at`; about ten queries.

    Raises Submission.DoesNotExist, and what drawing raises.
    """
    return render_receipt(receipt(number, at))


def labels_pdf(number: str) -> bytes:
    """Labels of a submission, one a sample; five queries. Raises Submission.DoesNotExist, and what drawing raises."""
    return render_labels(labels(number))


def labels(number: str) -> LabelSheet:
    """The labels in the order of the samples; the code is the laboratory number alone."""
    found = _found(number)
    foot = f"{found.submission}, due {_day(found.request.due_on)}"
    return LabelSheet(
        title=f"Labels for {found.submission}",
        laboratory=found.laboratory.name,
        labels=tuple(_label(sample, foot) for sample in found.samples),
    )


def _label(sample: "Sample", foot: str) -> Label:
    return Label(sample.number, sample.number, sample.client_identification, sample.matrix.name, foot=foot)


def receipt(number: str, at: datetime) -> ReceiptDocument:
    """What was received, to the letter, what was asked for, and what the client must read."""
    found = _found(number)
    delivery, due = found.submission, found.request.due_on
    received = delivery.received_at.astimezone(found.zone)
    asked = _asked(found)
    unit = _unit(found.samples)
    return ReceiptDocument(
        laboratory=found.laboratory.name,
        address=tuple(found.laboratory.address.splitlines()),
        number=delivery.number,
        printed=_moment(at.astimezone(found.zone)),
        due=f"{due:%a} {in_words(due)}",
        due_words=f"{_working_days(received.date(), due)} working days after receipt",
        delivered=f"{len(found.samples)} sample{'' if len(found.samples) == 1 else 's'}",
        delivered_words=_together(found.samples, unit),
        asked_for=", ".join(str(version) for version in asked),
        asked_for_words="; ".join([*(_elements(version) for version in asked), found.request.basis]),
        client=delivery.client.name,
        reference=delivery.reference,
        received=f"{in_words(received.date())}, {received:%H:%M}, by {delivery.received_by}",
        kept_until=in_words(due + timedelta(days=KEPT_DAYS)),
        unit=unit,
        lines=tuple(_line(sample, unit, asked) for sample in found.samples),
        notices=tuple(_notices(found, asked)),
        received_by=str(delivery.received_by),
        received_when=_moment(received),
        line_rule_nm=tuple(sorted({wave for version in asked for wave in _wavelengths(version)})),
    )


def _found(number: str) -> Delivered:
    delivery, lab = find_submission(number), laboratory()
    if lab is None:
        raise LookupError("There is no laboratory yet: found it first.")
    return Delivered(lab, ZoneInfo(lab.time_zone), delivery, requests_of(delivery)[0], list(samples_of(delivery)))


def _asked(found: Delivered) -> list["MethodVersion"]:
    """The version in force of each method asked for; one query a method."""
    codes = dict.fromkeys(item.method.code for item in found.request.methods.all())
    on = found.submission.received_at.astimezone(found.zone).date()
    return [version for code in codes if (version := in_force(method_versions(code), on))]


def _elements(version: "MethodVersion") -> str:
    """What is determined, element by element, with its units: Cu Pb in mg/kg."""
    by_unit: dict[str, list[str]] = {}
    for determination in determinations_of(version):
        by_unit.setdefault(determination.unit, []).append(determination.reported_as)
    return ", ".join(f"{' '.join(names)} in {unit}" for unit, names in by_unit.items())


def _wavelengths(version: "MethodVersion") -> list[float]:
    """Wavelengths of the lines that will be measured, nm."""
    return [row.line.wavelength_nm for row in lines_of(version) if row.line.wavelength_nm is not None]


def _unit(samples: Sequence["Sample"]) -> str:
    """The unit of what was delivered; empty where some came by mass and some by volume."""
    units = Counter("g" if s.delivered_g is not None else "mL" for s in samples if _amount(s) is not None)
    return next(iter(units)) if len(units) == 1 else ""


def _amount(sample: "Sample") -> float | None:
    return sample.delivered_g if sample.delivered_g is not None else sample.delivered_mL


def _delivered(sample: "Sample", unit: str) -> str:
    amount = _amount(sample)
    if amount is None:
        return ""
    own = "" if unit else " g" if sample.delivered_g is not None else " mL"
    return f"{_written(amount)}{own}"


def _together(samples: Sequence["Sample"], unit: str) -> str:
    """Matrices, and how much came together where all of it came in one unit."""
    names = ", ".join(name for name, _ in count_matrices(list(samples)))
    amounts = [amount for sample in samples if (amount := _amount(sample)) is not None]
    return f"{names}, {_written(sum(amounts))} {unit} together" if unit and len(amounts) == len(samples) else names


def _line(sample: "Sample", unit: str, asked: Sequence["MethodVersion"]) -> ReceiptLine:
    little = _little(sample, asked)
    noted = "; ".join(filter(None, [sample.note, "little material" if little else ""]))
    return ReceiptLine(sample.number, sample.client_identification, _delivered(sample, unit), noted, warns=bool(little))


def _little(sample: "Sample", asked: Sequence["MethodVersion"]) -> str:
    """What follows where less was delivered than every method twice needs; empty where it is enough."""
    needed_g = sum(version.mass_low_g or 0.0 for version in asked)
    if sample.delivered_g is None or sample.delivered_g >= 2 * needed_g:
        return ""
    if sample.delivered_g < needed_g:
        return (
            f"{_written(sample.delivered_g)} g is less than the test portions need, {_written(needed_g)} g: bring more."
        )
    return f"{_written(sample.delivered_g)} g is enough for one measurement and for no repeat."


def _notices(found: Delivered, asked: Sequence["MethodVersion"]) -> list[Notice]:
    condition = found.submission.condition
    return [
        *([Notice("Condition on receipt", condition)] if condition else []),
        *(
            Notice(f"Row {row}, {sample.client_identification}", little)
            for row, sample in enumerate(found.samples, start=1)
            if (little := _little(sample, asked))
        ),
    ]


def _written(amount: float) -> str:
    """An amount in plain notation, thousands parted; ten figures hide what adding in binary leaves behind."""
    return f"{amount:,.10g}".replace(",", "\N{NO-BREAK SPACE}")


def _working_days(first: date, last: date) -> int:
    """Days from Monday to Friday after the first day, up to the last; holidays are not known here."""
    span = range(1, (last - first).days + 1)
    return sum((first + timedelta(days=days)).weekday() < _SATURDAY for days in span)


def _day(day: date) -> str:
    return f"{day:%a} {day.day} {day:%b}"


def _moment(at: datetime) -> str:
    return f"{at:%a} {in_words(at.date())}, {at:%H:%M}"
