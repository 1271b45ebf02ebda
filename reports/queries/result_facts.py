"""From approved results to the facts of a certificate, each with what must be said beside it; nothing is rounded."""

import re
from collections.abc import Collection, Iterable, Mapping
from datetime import date
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from labresults.calculation.quality_control import unit_of
from labresults.queries.reportable import Asked, Reportable
from labresults.terms import Basis, Concern, Mark, NotMeasured
from reports.facts import ResultFact
from reports.rules.qualifiers import control_kind, control_remark, late_remark, request_remark

if TYPE_CHECKING:
    from labresults.models import ControlOutcome, Result

ANOTHER = "another sample of this batch"
"""What a client reads where another client's sample served as duplicate or spike."""

LEAST_OF_A_NAME = 3
"""Signs of a client's identification that can be told from other words."""

Key = tuple[int, int, str]  # sample, method, element


def result_facts(
    found: Reportable,
    asked: Mapping[Key, Asked],
    preliminary: bool,
    zone: ZoneInfo,
    outside_scope: Collection[Key] = (),
) -> Iterable[ResultFact]:
    """Each result that was asked for, in figures or in words; preliminary: what is missing is to follow. No query."""
    told = _told(found)
    for key, one in asked.items():
        of_request = [words for of in (None, key[0]) for method, words in told.get(of, ()) if method in (None, key[1])]
        said = (*of_request, *_said_of_time(found, key, zone))
        if key in found.results:
            yield _result(found, key, one, said, key in outside_scope)
        elif key in found.not_measured or preliminary:
            yield _in_words(found, key, one, said)


def fact_of(row: "Result", sample: str, method: str, **beside: Any) -> ResultFact:
    """Return a result as the rules need it; no query where its evaluation's method version is joined.

    sample: its number; method: its code; beside: what is said beside it, which changes no number.
    """
    return ResultFact(
        result=row.pk,
        sample=sample,
        method=method,
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
        coverage_factor=row.evaluation.run.method_version.coverage_factor,
        **beside,
    )


def in_words(day: date) -> str:
    """A day as a certificate prints it: 9 November 2026."""
    return f"{day.day} {day:%B %Y}"


def _told(found: Reportable) -> dict[int | None, list[tuple[int | None, str]]]:
    """What was accepted when the request was reviewed and the client is told: method and words, by sample.

    None is every sample, or every method: too little material is said of all, since portions are of one material.
    """
    told: dict[int | None, list[tuple[int | None, str]]] = {}
    for row in found.concerns:
        words = request_remark(own_only(row.words, found), own_only(row.reason, found))
        method = None if row.what == Concern.TOO_LITTLE else row.method_id
        told.setdefault(row.sample_id, []).append((method, words))
    return told


def _said_of_time(found: Reportable, key: Key, zone: ZoneInfo) -> tuple[str, ...]:
    late = found.late.get(key)
    if late is None:
        return ()
    days = [in_words(at.astimezone(zone).date()) for at in (late.measured_at, late.end.at)]
    return (late_remark(late.end.element, str(late.end.holding), late.end.holding.source, *days),)


def _result(found: Reportable, key: Key, asked: Asked, said: tuple[str, ...], is_outside: bool) -> ResultFact:
    row = found.results[key]
    return fact_of(
        row,
        asked.sample.number,
        asked.method_version.method.code,
        control_remarks=tuple(
            control_remark(
                control_kind(o.position.role, o.measure),
                _said_of(o, found),
                own_only(o.acceptance.reason, found),
                str(o.acceptance.made_by),
            )
            for o in found.failures[row.pk]["accepted"]
        ),
        request_remarks=said,
        is_outside_scope=is_outside,
    )


def _in_words(found: Reportable, key: Key, asked: Asked, said: tuple[str, ...]) -> ResultFact:
    row = found.not_measured.get(key)
    determination = next(d for d in asked.method_version.determinations.all() if d.element_id == asked.element)
    return ResultFact(
        result=None,
        sample=asked.sample.number,
        method=asked.method_version.method.code,
        element=key[2],
        reported_as=determination.reported_as,
        unit=determination.unit,
        basis=found.basis_of(asked.sample),
        value=None,
        detection_limit=0.0,
        quantification_limit=0.0,
        reporting_limit=None,
        upper_limit=None,
        expanded_u=None,
        marks=(Mark.NO_VALUE,),
        why_no_value=row.word if row else "to follow",
        request_remarks=said,
        not_measured=NotMeasured(row.word) if row else None,
    )


def is_others(outcome: "ControlOutcome", found: Reportable) -> bool:
    """Whether a control sample was made of a sample of a submission that does not stand on the certificate."""
    portion = outcome.position.portion
    sample = portion.subsample.sample if portion and portion.subsample else None
    return sample is not None and sample.submission_id not in found.requests


def found_unit(outcome: "ControlOutcome") -> str:
    """Unit of what was observed: percent, a multiple of the quantification limit, or none."""
    return unit_of(outcome.measure)


def _said_of(outcome: "ControlOutcome", found: Reportable) -> str:
    """What is said of a failed control sample; of another client's sample how it was judged, and no content."""
    if not is_others(outcome, found):
        return own_only(str(outcome.why), found)
    observed = "no value" if outcome.observed is None else f"{outcome.observed:.4g} {found_unit(outcome)}".strip()
    return f"{outcome.line}, {ANOTHER}: {observed}: {outcome.verdict}"


def own_only(words: str, found: Reportable) -> str:
    """Words that people typed, without the laboratory numbers of samples that are not this client's.

    People type kf26-00099, KF26 00099 or KF26–00099 as well. What another client calls a sample that served as control
    sample goes too, where it is a name: what has no letter, or less than three signs, may be anything.
    """
    for name in found.others_named:
        if len(name) >= LEAST_OF_A_NAME and any(sign.isalpha() for sign in name):
            words = re.sub(rf"(?<!\w){re.escape(name)}(?!\w)", "another sample", words, flags=re.IGNORECASE)
    own = {_bare(sample.number) for sample in found.samples}
    number = re.compile(rf"\b{re.escape(found.laboratory.prefix)}\d{{2}}[\W_]{{0,3}}\d{{5,}}", re.IGNORECASE)
    return number.sub(lambda match: match[0] if _bare(match[0]) in own else "another sample", words)


def _bare(number: str) -> str:
    """Its letters and digits alone, capitals."""
    return "".join(sign for sign in number.upper() if sign.isalnum())
