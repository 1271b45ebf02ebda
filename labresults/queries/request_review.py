"""The review of a request before it is accepted (ISO/IEC 17025:2017, 7.1), and what a request can be copied from.

`review` makes four queries, whatever the number of rows; it changes nothing. What it finds does not stop a delivery: a
person accepts each concern with a reason, and the act finds the same concerns again under the lock.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from zoneinfo import ZoneInfo

from labresults.models import (
    Client,
    DerivedDefinition,
    Determination,
    LimitSet,
    Method,
    MethodVersion,
    Request,
    Sample,
    Submission,
    UsualRequest,
)
from labresults.queries.holding import Holdings, ends_by, ends_in_words, holding_times
from labresults.queries.people import site_time_zone
from labresults.readers.delivery import DeliveredSample, moment, quantity
from labresults.terms import Basis, Concern, SolutionKind


@dataclass(frozen=True)
class FoundConcern:
    """Something that a person must accept with a reason, or mend. `row` is None where it holds for the delivery."""

    key: str  # the same as long as row, method and kind are, for example: too little|row 12|AR-7
    what: Concern
    row: int | None
    method: str  # code; the first one where it concerns several together
    words: str  # with the figures


@dataclass(frozen=True)
class Asking:
    """What was asked for once, for a request that is to be like it."""

    methods: tuple[Method, ...]
    basis: Basis
    limit_set: LimitSet | None
    derived: tuple[DerivedDefinition, ...] = ()


@dataclass(frozen=True)
class _Known:
    """A method as it stands on the day: its newest valid version, or the newest of all, and what that serves."""

    code: str
    version: MethodVersion
    is_valid: bool
    matrices: frozenset[str]  # empty: the method version names none, and nothing can be said
    elements: tuple[str, ...]
    need_g: float  # its lightest test portion, g; 0 where portions are taken by volume


@dataclass(frozen=True)
class _Bench:
    """Everything that rows are looked at with."""

    known: dict[str, _Known]  # by the method's code
    common: tuple[str, ...]  # codes for rows that name none of their own
    holdings: Holdings
    zone: tzinfo
    at: datetime

    def asked_of(self, row: DeliveredSample) -> list[_Known]:
        return [self.known[code] for code in row.methods or self.common if code in self.known]


def review(rows: Sequence[DeliveredSample], *, methods: Collection[Method], at: datetime) -> tuple[FoundConcern, ...]:
    """Everything in a delivery that a person must accept with a reason, in the order of the rows; four queries.

    methods: for every row that names none of its own. What cannot be read in a row is left to the check of the rows.
    """
    bench = _bench(rows, methods, at)
    found = [_expired(known, at.date()) for _, known in sorted(bench.known.items()) if not known.is_valid]
    for row in rows:
        asked = bench.asked_of(row)
        found += [*_wrong_matrix(row, asked), *_too_little(row, asked), *_held_too_long(row, asked, bench)]
    return tuple(found)


def enough_for_one(
    rows: Sequence[DeliveredSample], *, methods: Collection[Method], at: datetime
) -> tuple[tuple[int, str], ...]:
    """Rows with enough for one measurement by each method and not for a repeat, in words; four queries.

    A note for whoever stands at the counter: nobody has to accept it.
    """
    bench = _bench(rows, methods, at)
    notes = []
    for row in rows:
        delivered_g, need_g = _delivered_g(row), sum(known.need_g for known in bench.asked_of(row))
        if delivered_g is not None and need_g <= delivered_g < 2 * need_g:
            notes.append(
                (row.row, f"{delivered_g:g} g is enough for one measurement ({need_g:g} g), not for a repeat.")
            )
    return tuple(notes)


def usual_request(client: Client) -> Asking | None:
    """What a client usually asks for, None where nothing is remembered; two queries."""
    newest = UsualRequest.objects.filter(client=client).select_related("limit_set").order_by("-pk").first()
    methods = tuple(newest.methods.order_by("code")) if newest else ()
    return Asking(methods, Basis(newest.basis), newest.limit_set) if newest and methods else None


def request_of(submission_number: str) -> Asking:
    """What was asked for all samples of an earlier submission, as it stands; three queries.

    Raises Submission.DoesNotExist.
    """
    rows = Request.objects.filter(submission__number=submission_number).select_related("limit_set")
    newest = rows.order_by("-version").first()
    if newest is None:
        raise Submission.DoesNotExist(f"There is no submission {submission_number}.")
    for_all = newest.methods.filter(sample__isnull=True)
    methods = tuple(Method.objects.filter(pk__in=for_all.values("method")).order_by("code"))
    derived = tuple(row.definition for row in newest.derived.select_related("definition"))
    return Asking(methods, Basis(newest.basis), newest.limit_set, derived)


def logged_with(form_key: str) -> Submission | None:
    """The submission that was logged with this form already; one query, none for an empty key."""
    return Submission.objects.filter(form_key=form_key).first() if form_key else None


def rows_of(samples: Iterable[Sample], own: Mapping[int, Sequence[str]]) -> tuple[DeliveredSample, ...]:
    """Samples that were logged, as rows that `review` reads: `row` is the place in the submission; no query.

    samples: with their matrix. own: codes of the methods of a sample that differ from the submission's, by its key.
    """
    return tuple(
        DeliveredSample(
            row=sample.ordinal,
            client_identification=sample.client_identification,
            matrix=sample.matrix.name,
            delivered_g=_text(sample.delivered_g),
            delivered_mL=_text(sample.delivered_mL),
            density=_text(sample.density_kg_per_L),
            sampled=sample.sampled_at.isoformat() if sample.sampled_at else "",
            methods=tuple(own.get(sample.pk, ())),
        )
        for sample in samples
    )


def _text(value: float | None) -> str:
    return "" if value is None else repr(value)


def _bench(rows: Sequence[DeliveredSample], methods: Collection[Method], at: datetime) -> _Bench:
    common = tuple(sorted(method.code for method in methods))
    codes = {*common, *(code for row in rows for code in row.methods)}
    versions = list(MethodVersion.objects.filter(method__code__in=codes).select_related("method").order_by("version"))
    valid = {version.method.code: version for version in versions if _is_valid(version, at.date())}
    chosen = {version.method.code: version for version in versions} | valid
    keys = [version.pk for version in chosen.values()]
    served = MethodVersion.matrices.through.objects.filter(methodversion__in=keys)
    matrices = _grouped(served.values_list("methodversion_id", "matrix__name"))
    reported = Determination.objects.filter(method_version__in=keys).order_by("ordinal")
    elements = _grouped(reported.values_list("method_version_id", "element_id"))
    return _Bench(
        known={
            code: _Known(
                code,
                version,
                code in valid,
                frozenset(matrices.get(version.pk, ())),
                tuple(elements.get(version.pk, ())),
                0.0 if version.solution_kind == SolutionKind.VOLUME_IN_VOLUME else version.mass_low_g or 0.0,
            )
            for code, version in chosen.items()
        },
        common=common,
        holdings=holding_times(),
        zone=ZoneInfo(site_time_zone()),
        at=at,
    )


def _grouped(pairs: Iterable[tuple[int, str]]) -> dict[int, list[str]]:
    found: dict[int, list[str]] = {}
    for key, value in pairs:
        found.setdefault(key, []).append(value)
    return found


def _is_valid(version: MethodVersion, on: date) -> bool:
    return version.valid_from <= on and (version.valid_to is None or on <= version.valid_to)


def _found(what: Concern, row: int | None, method: str, words: str) -> FoundConcern:
    place = "all rows" if row is None else f"row {row}"
    return FoundConcern(f"{what.name.lower().replace('_', ' ')}|{place}|{method}", what, row, method, words)


def _expired(known: _Known, on: date) -> FoundConcern:
    version = known.version
    when = f"from {version.valid_from}" + (f" to {version.valid_to}" if version.valid_to else "")
    words = f"No version of {known.code} is valid on {on}: the newest, v{version.version}, is valid {when}."
    return _found(Concern.METHOD_EXPIRED, None, known.code, words)


def _wrong_matrix(row: DeliveredSample, asked: Sequence[_Known]) -> list[FoundConcern]:
    return [
        _found(
            Concern.MATRIX,
            row.row,
            known.code,
            f"{known.code} is validated for {', '.join(sorted(known.matrices))}; this sample is {row.matrix}.",
        )
        for known in asked
        if known.matrices and row.matrix not in known.matrices
    ]


def _too_little(row: DeliveredSample, asked: Sequence[_Known]) -> list[FoundConcern]:
    """One concern where the material is less than the lightest portions of all methods together.

    What a batch wants beside it, a duplicate or a spike, is not counted: they may be taken of another sample.
    """
    parts = [known for known in asked if known.need_g]
    delivered_g, need_g = _delivered_g(row), sum(known.need_g for known in parts)
    if delivered_g is None or delivered_g >= need_g:
        return []
    needed = " and ".join(f"{known.code} {known.need_g:g} g" for known in parts)
    together = f", together {need_g:g} g" if len(parts) > 1 else ""
    words = f"{delivered_g:g} g is too little for the test portions: at least {needed}{together}."
    return [_found(Concern.TOO_LITTLE, row.row, parts[0].code, words)]


def _delivered_g(row: DeliveredSample) -> float | None:
    """The mass delivered, g: as given, or from volume and density (1 kg/L is 1 g/mL); None where neither is known."""
    try:
        mass_g, volume_mL, density = (quantity(text) for text in (row.delivered_g, row.delivered_mL, row.density))
    except ValueError:
        return None
    if mass_g is not None:
        return mass_g
    return volume_mL * density if volume_mL is not None and density is not None else None


def _held_too_long(row: DeliveredSample, asked: Sequence[_Known], bench: _Bench) -> list[FoundConcern]:
    if not row.sampled or row.matrix not in bench.holdings:
        return []
    try:
        sampled_at = moment(row.sampled, bench.zone)
    except ValueError:
        return []
    found = []
    for known in asked if sampled_at else ():
        ends = ends_by(sampled_at, row.matrix, known.elements, bench.holdings)  # type: ignore[arg-type]
        passed = [end for end in ends if end.at < bench.at]
        if passed:
            words = f"{known.code}: the holding time has passed: {ends_in_words(passed, bench.zone)}."
            found.append(_found(Concern.HOLDING_TIME, row.row, known.code, words))
    return found
