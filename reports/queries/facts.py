"""From database rows to the facts of a certificate: names, dates in words, units; nothing is rounded or decided."""

import re
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from labresults.queries.reportable import Asked, Reportable
from labresults.terms import Basis, Mark, NotMeasured
from reports.facts import (
    CertificateFacts,
    ControlFact,
    DeterminationFact,
    LimitFact,
    MethodFact,
    ResultFact,
    SampleFact,
    SignatureFact,
)
from reports.rules.qualifiers import control_remark

if TYPE_CHECKING:
    from labresults.models import ControlOutcome, MethodVersion

ANOTHER = "another sample of this batch"
"""What a client reads where another client's sample served as duplicate or spike."""


def collect(
    found: Reportable,
    *,
    number: str,
    issue: int,
    issuer: str,
    at: datetime,
    chain_head: str,
    check_code: str,
    replaces: str = "",
    reason: str = "",
    preliminary: bool = False,
) -> CertificateFacts:
    """Return the facts of one issue; no query."""
    zone = ZoneInfo(found.laboratory.time_zone)
    client = found.submission.client
    asked = {(a.sample.pk, a.method_version.method_id, a.element): a for a in found.asked}
    return CertificateFacts(
        laboratory=found.laboratory.name,
        address=tuple(found.laboratory.address.splitlines()),
        place_of_work=found.laboratory.place_of_work,
        invented=found.laboratory.invented,
        number=number,
        issue=issue,
        client=client.name,
        client_address=tuple(filter(None, [*client.address.splitlines(), client.contact, client.email])),
        reference=found.submission.reference,
        submission=found.submission.number,
        sampling=found.submission.sampling or "not taken by the laboratory",
        received=in_words(found.submission.received_at.astimezone(zone).date()),
        sampled=_period(s.sampled_at.astimezone(zone).date() for s in found.samples if s.sampled_at),
        measured=_period(_measured_days(found, zone)),
        issued=in_words(at.astimezone(zone).date()),
        condition=found.submission.condition,
        basis=Basis(found.request.basis),
        samples=tuple(SampleFact(s.number, s.client_identification, s.matrix.name, s.note) for s in found.samples),
        determinations=_determinations(found),
        results=tuple(_results(found, asked, preliminary)),
        methods=tuple(_method(version, found) for version in found.method_versions),
        controls=tuple(_control(outcome, found) for outcome in found.controls if outcome.observed is not None),
        limits=tuple(
            LimitFact(
                limit.element_id,
                limit.value,
                limit.unit,
                f"{limit.limit_set}: {limit.limit_set.source}",
                Basis(limit.limit_set.basis),
            )
            for limit in found.limits
        ),
        departures=_departures(found, preliminary),
        signatures=(*_reviewers(found, zone), SignatureFact(issuer, "Issued for the laboratory", _moment(at, zone))),
        chain_head=chain_head,
        check_code=check_code,
        replaces=replaces,
        replaces_why=reason,
        preliminary=preliminary,
    )


def in_words(day: date) -> str:
    """A day as a certificate prints it: 9 November 2026."""
    return f"{day.day} {day:%B %Y}"


def _period(days: Iterable[date]) -> str:
    known = sorted(set(days))
    if not known:
        return ""
    first, last = known[0], known[-1]
    if first == last:
        return in_words(first)
    start = f"{first.day}" if (first.year, first.month) == (last.year, last.month) else in_words(first)
    return f"{start} to {in_words(last)}"


def _moment(at: datetime, zone: ZoneInfo) -> str:
    local = at.astimezone(zone)
    return f"{local:%a} {in_words(local.date())}, {local:%H:%M} UTC{local:%z}"


def _measured_days(found: Reportable, zone: ZoneInfo) -> list[date]:
    runs = {result.evaluation.run for result in found.results.values()}
    return [
        moment.astimezone(zone).date()
        for run in runs
        for file in run.files.all()
        for moment in (file.measured_from, file.measured_to)
    ]


def _determinations(found: Reportable) -> tuple[DeterminationFact, ...]:
    """The columns: methods in the order of their codes, elements as the method version orders them."""
    wanted = {(a.method_version.method_id, a.element) for a in found.asked}
    newest = {version.method_id: version for version in found.method_versions}
    return tuple(
        DeterminationFact(version.method.code, row.element_id, row.reported_as, row.unit)
        for version in newest.values()
        for row in sorted(version.determinations.all(), key=lambda d: d.ordinal)
        if (version.method_id, row.element_id) in wanted
    )


def _results(found: Reportable, asked: dict[tuple[int, int, str], Asked], preliminary: bool) -> Iterable[ResultFact]:
    names = {sample.pk: sample.number for sample in found.samples}
    for key, one in asked.items():
        code = one.method_version.method.code
        determination = next(d for d in one.method_version.determinations.all() if d.element_id == one.element)
        if key in found.results:
            yield _result(found, key, names[key[0]], code)
        elif key in found.not_measured or preliminary:
            yield _in_words(found, key, names[key[0]], code, determination.reported_as, determination.unit)


def _result(found: Reportable, key: tuple[int, int, str], sample: str, code: str) -> ResultFact:
    row = found.results[key]
    return ResultFact(
        result=row.pk,
        sample=sample,
        method=code,
        element=row.element_id,
        reported_as=row.reported_as,
        unit=row.unit,
        basis=Basis(row.basis),
        value=row.value,
        detection_limit=row.detection_limit or 0.0,  # none: why there is no value says why
        quantification_limit=row.quantification_limit or 0.0,
        reporting_limit=row.reporting_limit,
        upper_limit=row.upper_limit,
        expanded_u=row.expanded_u,
        marks=tuple(Mark(mark) for mark in row.marks),
        why_no_value=row.why_no_value or None,
        control_remarks=tuple(
            control_remark(
                o.position.role,
                _said_of(o, found),
                _own_only(o.acceptance.reason, found),
                str(o.acceptance.made_by),
            )
            for o in found.failures[row.pk]["accepted"]
        ),
    )


def _in_words(
    found: Reportable, key: tuple[int, int, str], sample: str, code: str, reported_as: str, unit: str
) -> ResultFact:
    row = found.not_measured.get(key)
    return ResultFact(
        result=None,
        sample=sample,
        method=code,
        element=key[2],
        reported_as=reported_as,
        unit=unit,
        basis=Basis(found.request.basis),
        value=None,
        detection_limit=0.0,
        quantification_limit=0.0,
        reporting_limit=None,
        upper_limit=None,
        expanded_u=None,
        marks=(Mark.NO_VALUE,),
        why_no_value=row.word if row else "to follow",
        not_measured=NotMeasured(row.word) if row else None,
    )


def _method(version: "MethodVersion", found: Reportable) -> MethodFact:
    runs = sorted(
        {
            result.evaluation.run.number
            for result in found.results.values()
            if result.evaluation.run.method_version_id == version.pk
        }
    )
    used = {
        result.line_id for result in found.results.values() if result.evaluation.run.method_version_id == version.pk
    }
    lines = [row.line for row in version.lines.all() if row.line_id in used or (not used and row.rank == 1)]
    return MethodFact(
        code=version.method.code,
        version=version.version,
        what_was_done=version.what_was_done,
        lines=", ".join(str(line) for line in sorted(lines, key=str)),
        runs=tuple(runs),
        blank=version.blank_rule,
        accredited=_accredited(version.method_id, found),
        external=version.is_external,
        uncertainty_basis=version.uncertainty_basis,
        coverage_factor=version.coverage_factor,
        wavelengths_nm=tuple(line.wavelength_nm for line in lines if line.wavelength_nm),
    )


def _accredited(method: int, found: Reportable) -> str:
    """Which results lie outside the scope of accreditation; nothing is said where the method has no scope at all."""
    scope = [row for row in found.scope if row.method_id == method]
    if not scope:
        return ""
    measured = {key[2] for key in found.results if key[1] == method}
    outside = sorted(measured - {row.element_id for row in scope})
    return (
        f"Outside the scope of accreditation: {', '.join(outside)}."
        if outside
        else "Within the scope of accreditation."
    )


def _control(outcome: "ControlOutcome", found: Reportable) -> ControlFact:
    """One row of the appendix; of another client's sample neither number nor content, only how it was judged."""
    position = outcome.position
    label = position.lot.material.name if position.lot else position.label
    others = _is_others(outcome, found)
    if position.portion and position.portion.subsample:
        label = ANOTHER if others else position.portion.subsample.sample.number
    accepted = getattr(outcome, "acceptance", None)
    return ControlFact(
        run=outcome.evaluation.run.number,
        kind=position.role,
        label=label,
        analyte=outcome.line.element_id,
        unit=found_unit(outcome),
        expected=None if others else outcome.expected,
        observed=outcome.observed,
        measure=outcome.measure,
        low=outcome.criterion.low,
        high=outcome.criterion.high,
        verdict=outcome.verdict,
        accepted_because=_own_only(f"{accepted.reason} ({accepted.made_by})", found) if accepted else "",
    )


def _is_others(outcome: "ControlOutcome", found: Reportable) -> bool:
    """Whether a control sample was made of a sample of another submission."""
    portion = outcome.position.portion
    sample = portion.subsample.sample if portion and portion.subsample else None
    return sample is not None and sample.submission_id != found.submission.pk


def found_unit(outcome: "ControlOutcome") -> str:
    """Unit of what was observed: percent, or a multiple of the quantification limit."""
    return "%" if outcome.measure.endswith("%") else "× quantification limit"


def _said_of(outcome: "ControlOutcome", found: Reportable) -> str:
    """What is said of a failed control sample; of another client's sample how it was judged, and no content."""
    if not _is_others(outcome, found):
        return _own_only(str(outcome.why), found)
    observed = "no value" if outcome.observed is None else f"{outcome.observed:.4g} {found_unit(outcome)}"
    return f"{outcome.line}, {ANOTHER}: {observed}: {outcome.verdict}"


def _own_only(words: str, found: Reportable) -> str:
    """Words that people typed, without the laboratory numbers of samples that are not this client's."""
    own = {sample.number for sample in found.samples}
    number = re.compile(rf"\b{re.escape(found.laboratory.prefix)}\d{{2}}-\d{{5,}}")
    return number.sub(lambda match: match[0] if match[0] in own else "another sample", words)


def _departures(found: Reportable, preliminary: bool) -> tuple[str, ...]:
    said = []
    if preliminary:
        said.append(
            "Preliminary: results that are still to follow are marked; the final certificate replaces this one."
        )
    exceptions = {d.review.exception for d in found.decisions.values() if d.review.exception}
    said += [f"Reviewed under a named exception: {exception}" for exception in sorted(exceptions)]
    repeats = sorted({r.position.repeat_cause for r in found.results.values() if r.position.repeat_cause})
    said += [f"Measured again: {_own_only(cause, found)}" for cause in repeats]
    return tuple(said)


def _reviewers(found: Reportable, zone: ZoneInfo) -> Sequence[SignatureFact]:
    """Each reviewer once, at the time of the last review that counts."""
    last: dict[tuple[str, str], datetime] = {}
    for result in found.results.values():
        review = found.decisions[result.pk].review
        key = (str(review.made_by), review.meaning)
        last[key] = max(last.get(key, review.made_at), review.made_at)
    return [SignatureFact(name, meaning, _moment(at, zone)) for (name, meaning), at in sorted(last.items())]
