"""From database rows to the facts of a certificate: names, dates in words, units; nothing is rounded or decided."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from labresults.queries.reportable import Reportable
from labresults.queries.run_imports import periods_of
from labresults.terms import Basis, DecisionRule, LimitSide
from reports.document import of_fraction
from reports.facts import (
    CertificateFacts,
    ControlFact,
    DeterminationFact,
    LimitFact,
    MethodFact,
    SampleFact,
    SignatureFact,
)
from reports.queries.delivery import recipients_of
from reports.queries.derived_facts import derived_facts
from reports.queries.result_facts import ANOTHER, found_unit, in_words, is_others, own_only, result_facts
from reports.queries.scope_facts import Key, accreditation, marks_outside, of_method, within_scope
from reports.queries.told_facts import client_said, every_sample_is_ours, of_client, opinions, sampling_notes

NOT_BY_US = "not taken by the laboratory"

if TYPE_CHECKING:
    from labresults.models import Client, ControlOutcome, Limit, MethodVersion


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
    """Return the facts of one issue; one query, and one where nothing is entered of how the client is reached."""
    zone = ZoneInfo(found.laboratory.time_zone)
    asked = {one.key: one for one in found.asked}
    within = within_scope(found, zone)
    return CertificateFacts(
        **_laboratory(found),
        **_delivery(found),
        **_days(found, zone),
        number=number,
        issue=issue,
        issued=in_words(at.astimezone(zone).date()),
        basis=Basis(found.request.basis),
        samples=tuple(_samples(found)),
        determinations=_determinations(found),
        results=tuple(result_facts(found, asked, preliminary, zone, marks_outside(within))),
        methods=tuple(_method(version, found, within) for version in found.method_versions),
        controls=tuple(_control(outcome, found) for outcome in found.controls if outcome.observed is not None),
        limits=tuple(_limit(limit, found) for limit in found.limits),
        departures=_departures(found, preliminary),
        signatures=(*_reviewers(found, zone), SignatureFact(issuer, "Issued for the laboratory", _moment(at, zone))),
        chain_head=chain_head,
        check_code=check_code,
        replaces=replaces,
        replaces_why=reason,
        preliminary=preliminary,
        derived=tuple(derived_facts(found)),
        sampling_notes=tuple(sampling_notes(found, zone)),
        opinions=tuple(opinions(found, zone)),
        accreditation=accreditation(within),
        client_said=tuple(client_said(found)),
    )


def _laboratory(found: Reportable) -> dict[str, Any]:
    """Who made the certificate, and where."""
    return {
        "laboratory": found.laboratory.name,
        "address": tuple(found.laboratory.address.splitlines()),
        "place_of_work": found.laboratory.place_of_work,
        "invented": found.laboratory.invented,
    }


def _delivery(found: Reportable) -> dict[str, Any]:
    """Whose samples they are, and how they came; of several submissions each thing once."""
    client, of_all = found.submission.client, found.submissions
    theirs = of_client(_together(of.sampling for of in of_all), is_of_client=True) or NOT_BY_US
    return {
        "client": client.name,
        "client_address": _contact(client),
        "reference": _together(of.reference for of in of_all),
        "submission": ", ".join(of.number for of in of_all),
        "submissions": tuple(of.number for of in of_all) if found.further else (),
        "sampling": "by the laboratory: see the record of sampling" if every_sample_is_ours(found) else theirs,
        "condition": _together(of.condition for of in of_all),
    }


def _days(found: Reportable, zone: ZoneInfo) -> dict[str, str]:
    """When it was received, sampled and measured."""
    sampled = _period(s.sampled_at.astimezone(zone).date() for s in found.samples if s.sampled_at)
    return {
        "received": _period(of.received_at.astimezone(zone).date() for of in found.submissions),
        "sampled": of_client(sampled, not every_sample_is_ours(found)),
        "measured": _period(_measured_days(found, zone)),
    }


def _samples(found: Reportable) -> Iterator[SampleFact]:
    """Each sample; of a combined certificate with its own submission."""
    numbers = {of.pk: of.number for of in found.submissions}
    for sample in found.samples:
        yield SampleFact(
            number=sample.number,
            client_identification=sample.client_identification,
            matrix=sample.matrix.name,
            condition=sample.note,
            limit_set=str(found.limit_set_of(sample) or ""),
            submission=numbers[sample.submission_id] if found.further else "",
        )


def _limit(limit: "Limit", found: Reportable) -> LimitFact:
    of_set, code = limit.limit_set, limit.derived_code or ""
    headings = (one.definition.reported_as for one in found.derived if one.definition.code == code)
    return LimitFact(
        limit.element_id or "",
        limit.value,
        limit.unit,
        f"{of_set}: {of_set.source}",
        Basis(of_set.basis),
        str(of_set),
        LimitSide(limit.side),
        DecisionRule(of_set.decision_rule) if of_set.decision_rule else None,
        of_set.risk_percent,
        derived=code,
        heading=next(headings, ""),
    )


def _contact(client: "Client") -> tuple[str, ...]:
    """How a client is reached: by what was entered with it, else by those who get its documents."""
    entered = tuple(filter(None, [*client.address.splitlines(), client.contact, client.email]))
    return entered or tuple(f"{row.name}, {row.email}" for row in recipients_of(client))


def _together(words: Iterable[str]) -> str:
    """What the submissions of one certificate say, each of it once."""
    return "; ".join(dict.fromkeys(filter(None, words)))


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
    """The days on which the results were measured; one query, however many the runs."""
    runs = {result.evaluation.run_id for result in found.results.values()}
    return [moment.astimezone(zone).date() for period in periods_of(runs) for moment in period]


def _determinations(found: Reportable) -> tuple[DeterminationFact, ...]:
    """The columns: methods in the order of their codes, elements as the newest version orders them."""
    wanted = {(a.method_version.method_id, a.element) for a in found.asked}
    columns: dict[tuple[str, int, str], DeterminationFact] = {}
    # The newest version first, then what only an older one determines: a sample may have been measured by that.
    for version in sorted(found.method_versions, key=lambda version: (version.method.code, -version.version)):
        for row in sorted(version.determinations.all(), key=lambda d: d.ordinal):
            if (version.method_id, row.element_id) in wanted:
                fact = DeterminationFact(version.method.code, row.element_id, row.reported_as, row.unit)
                columns.setdefault((version.method.code, version.method_id, row.element_id), fact)
    return tuple(columns.values())


def _method(version: "MethodVersion", found: Reportable, within: Mapping[Key, bool]) -> MethodFact:
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
        accredited=of_method(version.method_id, within, found),
        external=version.is_external,
        uncertainty_basis=version.uncertainty_basis,
        coverage_factor=version.coverage_factor,
        wavelengths_nm=tuple(line.wavelength_nm for line in lines if line.wavelength_nm),
    )


def _control(outcome: "ControlOutcome", found: Reportable) -> ControlFact:
    """One row of the appendix; of another client's sample neither number nor content, only how it was judged."""
    position = outcome.position
    label = position.lot.material.name if position.lot else position.label
    others = is_others(outcome, found)
    if position.portion and position.portion.subsample:
        sample = position.portion.subsample.sample
        label = of_fraction(ANOTHER if others else sample.number, sample.field_filtered)
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
        low=outcome.low,
        high=outcome.high,
        verdict=outcome.verdict,
        accepted_because=own_only(f"{accepted.reason} ({accepted.made_by})", found) if accepted else "",
    )


def _departures(found: Reportable, preliminary: bool) -> tuple[str, ...]:
    said = []
    if preliminary:
        said.append(
            "Preliminary: results that are still to follow are marked; the final certificate replaces this one."
        )
    exceptions = {d.review.exception for d in found.decisions.values() if d.review.exception}
    said += [f"Reviewed under a named exception: {exception}" for exception in sorted(exceptions)]
    repeats = sorted({r.position.repeat_cause for r in found.results.values() if r.position.repeat_cause})
    said += [f"Measured again: {own_only(cause, found)}" for cause in repeats]
    return tuple(said)


def _reviewers(found: Reportable, zone: ZoneInfo) -> Sequence[SignatureFact]:
    """Each reviewer once, at the time of the last review that counts."""
    last: dict[tuple[str, str], datetime] = {}
    for result in found.results.values():
        review = found.decisions[result.pk].review
        key = (str(review.made_by), review.meaning)
        last[key] = max(last.get(key, review.made_at), review.made_at)
    return [SignatureFact(name, meaning, _moment(at, zone)) for (name, meaning), at in sorted(last.items())]
