"""Whether the results of submissions may go on a certificate: what is asked, what stands approved, what is missing."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet

from labresults.garbage import collecting_later
from labresults.models import (
    ControlOutcome,
    MethodLine,
    MethodVersion,
    NotMeasuredResult,
    Request,
    RequestedMethod,
    Result,
    Sample,
    Submission,
)
from labresults.queries.derived import Asking, asking_of, without_sets
from labresults.queries.failures import Standing, failures_of
from labresults.queries.history import head
from labresults.queries.nonconforming import held
from labresults.queries.results import Decided, newest_results, newest_reviews
from labresults.terms import Decision

Key = tuple[int, int, str]
"""Keys of a sample and a method, and the symbol of an element."""


@dataclass(frozen=True)
class Asked:
    """One element asked of one sample by one method."""

    sample: Sample
    method_version: MethodVersion
    element: str

    @property
    def key(self) -> Key:
        """What its result, or its words, are found by."""
        return (self.sample.pk, self.method_version.method_id, self.element)


@dataclass(frozen=True)
class Readiness:
    """How far submissions are from a certificate; nothing of what else stands on one."""

    requests: dict[int, Request]  # the newest of each submission, by its key
    samples: list[Sample]  # submission by submission
    asked: list[Asked]
    results: dict[Key, Result]  # selected, approved and not held
    not_measured: dict[Key, NotMeasuredResult]
    decisions: dict[int, Decided]  # by result
    failures: dict[int, Standing]  # by result
    method_versions: list[MethodVersion]  # with their lines and determinations
    asking: Asking  # for derived results
    missing: list[str]  # in words, one a result that is not there or not approved
    newest_event: str  # its SHA-256 when the reading began


@collecting_later()
def readiness(submissions: Sequence[Submission], as_of: datetime | None = None) -> Readiness:
    """What is asked of these submissions, what of it is approved, and what is missing; about 15 queries.

    as_of: as it stood at that moment; what is on hold since is not left out then.
    """
    _, newest_event = head()  # first: what is done meanwhile must not go unseen
    requests = _newest_requests(submissions, as_of)
    samples = _samples(submissions, as_of)
    sample_ids = [sample.pk for sample in samples]
    chosen = newest_results(sample_ids, until=as_of)
    reviews = newest_reviews((result.pk for result in chosen.values()), until=as_of, of_samples=sample_ids)
    decisions = {key: decided for key, decided in reviews.items() if not decided.overtaken}
    signed = {key: result for key, result in chosen.items() if _is_approved(result, decisions)}
    failures = failures_of(list(signed.values()))
    # A control sample may fail after the signature, when its batch is read again: nobody has said why that may stand.
    holding = held(result.pk for result in signed.values()) if as_of is None else {}
    approved = {
        key: result
        for key, result in signed.items()
        if result.pk not in holding and not _known(failures[result.pk]["open"], as_of)
    }
    asked, versions = _asked(requests, samples, approved)
    not_measured = _not_measured(samples, asked, as_of)
    asking = asking_of(list(requests.values()), [sample.pk for sample in samples], as_of)
    return Readiness(
        requests=requests,
        samples=samples,
        asked=asked,
        results=approved,
        not_measured=not_measured,
        decisions=decisions,
        failures=failures,
        method_versions=versions,
        asking=asking,
        missing=_missing(asked, chosen, signed, approved, not_measured, holding, reviews) + without_sets(asking),
        newest_event=newest_event,
    )


def made_by_then(rows: QuerySet[Any], as_of: datetime | None) -> QuerySet[Any]:
    """Rows that were made by then; part of another query."""
    return rows if as_of is None else rows.filter(made_at__lte=as_of)


def _known(outcomes: Sequence[ControlOutcome], as_of: datetime | None) -> list[ControlOutcome]:
    """Outcomes that were known by then; no query."""
    return [outcome for outcome in outcomes if as_of is None or outcome.evaluation.made_at <= as_of]


def _newest_requests(submissions: Sequence[Submission], as_of: datetime | None) -> dict[int, Request]:
    """The newest request of each submission, by the submission's key; one query. Raises Request.DoesNotExist."""
    rows = made_by_then(Request.objects.filter(submission__in=submissions), as_of).select_related("limit_set")
    newest = {row.submission_id: row for row in rows.order_by("version")}
    for submission in submissions:
        if submission.pk not in newest:
            raise Request.DoesNotExist(f"Nothing was asked for with {submission}.")
    return newest


def _samples(submissions: Sequence[Submission], as_of: datetime | None) -> list[Sample]:
    """Samples in the order of their submissions and of their rows, struck ones left out; one query."""
    stands = Q(struck_at=None) if as_of is None else Q(struck_at=None) | Q(struck_at__gt=as_of)
    place = {submission.pk: place for place, submission in enumerate(submissions)}
    rows = Sample.objects.filter(stands, submission__in=submissions).select_related("matrix")
    return sorted(rows, key=lambda row: (place[row.submission_id], row.ordinal))


def _is_approved(result: Result, decisions: dict[int, Decided]) -> bool:
    return result.pk in decisions and decisions[result.pk].review.decision == Decision.APPROVE


def _asked(
    requests: Mapping[int, Request], samples: Sequence[Sample], approved: Mapping[Key, Result]
) -> tuple[list[Asked], list[MethodVersion]]:
    """Every element asked of every sample, by the version that measured it, else by the one that measured others of its
    submission, else by the newest. With the versions, by method; four queries.
    """
    requested, measured_by = _requested(requests), _measured_by(approved, samples)
    versions = _versions({row.method_id for of in requested.values() for row in of}, approved.values())
    newest = {version.method_id: version.pk for version in versions}
    by_key = {version.pk: version for version in versions}
    elements = {
        version.pk: [row.element_id for row in sorted(version.determinations.all(), key=lambda row: row.ordinal)]
        for version in versions
    }
    own = {row.sample_id for of in requested.values() for row in of if row.sample_id}
    asked = []
    for sample in samples:
        for row in requested.get(sample.submission_id, ()):
            places = (("sample", sample.pk, row.method_id), ("submission", sample.submission_id, row.method_id))
            known = (measured_by[place] for place in places if place in measured_by)
            version = next(known, newest.get(row.method_id))
            of_sample = row.sample_id == sample.pk or (row.sample_id is None and sample.pk not in own)
            if version is not None and of_sample:
                asked += [Asked(sample, by_key[version], element) for element in elements[version]]
    used = {one.method_version.pk for one in asked}
    used |= {result.evaluation.run.method_version_id for result in approved.values()}
    return asked, sorted((by_key[pk] for pk in used), key=lambda version: (version.method.code, version.version))


def _requested(requests: Mapping[int, Request]) -> dict[int, list[RequestedMethod]]:
    """The methods that were asked for, of all samples or of one, by submission; one query."""
    rows = RequestedMethod.objects.filter(request__in=requests.values()).select_related("request", "method")
    found: dict[int, list[RequestedMethod]] = {}
    for row in rows.order_by("method__code"):
        found.setdefault(row.request.submission_id, []).append(row)
    return found


def _measured_by(approved: Mapping[Key, Result], samples: Sequence[Sample]) -> dict[tuple[str, int, int], int]:
    """By which version of a method a sample, or any sample of a submission, was measured; no query.

    The key: "sample" or "submission", its key, and that of the method.
    """
    submission_of = {sample.pk: sample.submission_id for sample in samples}
    found: dict[tuple[str, int, int], int] = {}
    for (sample, method, _), result in sorted(approved.items(), key=lambda item: item[0]):
        version = result.evaluation.run.method_version_id
        found["sample", sample, method] = found["submission", submission_of[sample], method] = version
    return found


def _versions(methods: Collection[int], measured: Iterable[Result]) -> list[MethodVersion]:
    """The newest version of each method and those that results were measured by, oldest first, whole; three queries."""
    newer = MethodVersion.objects.filter(method=OuterRef("method"), version__gt=OuterRef("version"))
    wanted = Q(pk__in={result.evaluation.run.method_version_id for result in measured})
    return list(
        MethodVersion.objects.filter(wanted | (Q(method__in=methods) & ~Exists(newer)))
        .select_related("method")
        .prefetch_related(Prefetch("lines", MethodLine.objects.select_related("line")), "determinations")
        .order_by("version")
    )


def _not_measured(
    samples: Sequence[Sample], asked: Sequence[Asked], as_of: datetime | None
) -> dict[Key, NotMeasuredResult]:
    """Results in words by what was asked: the newest stands, and one without an element speaks of all; one query."""
    by_pair: dict[tuple[int, int], list[Key]] = {}
    for one in asked:
        by_pair.setdefault(one.key[:2], []).append(one.key)
    found = {}
    for row in made_by_then(NotMeasuredResult.objects.filter(sample__in=samples), as_of).order_by("pk"):
        for key in by_pair.get((row.sample_id, row.method_id), ()):
            if row.element_id in (None, key[2]):
                found[key] = row
    return found


def unlike_forms(results: Iterable[Result]) -> list[str]:
    """In words, each element that one method gives in two units, or as element and as oxide: one column holds one of
    them. So it is where samples of one certificate were measured by two versions of a method; no query.
    """
    seen: dict[tuple[str, str], dict[tuple[str, str], Result]] = {}
    for result in results:
        place = (result.element_id, result.evaluation.run.method_version.method.code)
        seen.setdefault(place, {}).setdefault((result.reported_as, result.unit), result)
    words = []
    for (element, method), forms in seen.items():
        if len(forms) > 1:
            said = ", ".join(f"{form} in {unit} in {one.sample}" for (form, unit), one in forms.items())
            words.append(f"{element} by {method} is {said}: have them measured by one version of {method}")
    return words


def _missing(
    asked: Sequence[Asked],
    chosen: Mapping[Key, Result],
    signed: Mapping[Key, Result],
    approved: Mapping[Key, Result],
    not_measured: Mapping[Key, NotMeasuredResult],
    holding: Mapping[int, Sequence[str]],
    reviews: Mapping[int, Decided],
) -> list[str]:
    missing = unlike_forms(approved.values())
    for one in asked:
        key = one.key
        if key in approved or key in not_measured:
            continue
        state = "is not approved" if key in chosen else "has no result"
        if key in chosen and (decided := reviews.get(chosen[key].pk)) and decided.overtaken:
            state = "was approved, and its moisture was recorded since: it is to be reviewed again"
        if key in signed:
            cases = holding.get(signed[key].pk)
            state = f"is on hold: {', '.join(cases)}" if cases else "was approved, and a control sample failed since"
        missing.append(f"{one.element} by {one.method_version.method} in {one.sample} {state}")
    return missing
