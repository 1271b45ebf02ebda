"""Parts of the acts that enter a request: what is asked for, and what its review found. Under the writer's lock."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from labresults import bulk
from labresults.acts import BadInput
from labresults.models import (
    Method,
    Person,
    Request,
    RequestConcern,
    RequestedDerived,
    RequestedMethod,
    RequestedTerms,
    Sample,
    Submission,
)
from labresults.queries.derived_asked import refuse_underived
from labresults.queries.request_review import FoundConcern
from labresults.queries.wanted import Wanted
from labresults.readers.problem import Problem
from labresults.terms import Concern


@dataclass(frozen=True)
class AcceptedConcern:
    """What a person accepts of the review of a request, by its key, and why."""

    key: str
    reason: str
    tell_client: bool = False  # the certificate says it


Accepted = Sequence[tuple[FoundConcern, AcceptedConcern]]

_COLUMN = {
    Concern.MATRIX: "matrix",
    Concern.TOO_LITTLE: "delivered, g",
    Concern.HOLDING_TIME: "sampled",
    Concern.METHOD_EXPIRED: "methods",
}


def accept_concerns(found: Iterable[FoundConcern], accepted: Collection[AcceptedConcern]) -> Accepted:
    """Each concern with what accepts it. Raises BadInput naming every one that nobody accepted with a reason.

    What was accepted and is not found any more was mended since, and is left out.
    """
    by_key = {one.key: one for one in accepted if one.reason.strip()}
    found = list(found)
    problems = tuple(
        Problem(concern.row, _COLUMN[concern.what], concern.words, "Mend it, or accept it with a reason.")
        for concern in found
        if concern.key not in by_key
    )
    if problems:
        raise BadInput(f"{len(problems)} to mend or to accept with a reason; nothing was entered.", problems)
    return [(concern, by_key[concern.key]) for concern in found]


def enter_request(
    submission: Submission,
    wanted: Wanted,
    *,
    version: int,
    by: Person,
    at: datetime,
    reason: str = "",
    agreed_with: str = "",
) -> Request:
    """Enter a version of what is asked for, with methods and terms of all and of single samples; four inserts.

    Raises BadInput where something is to be derived that the methods do not give.
    """
    refuse_underived(wanted)
    request = Request.objects.create(
        submission=submission,
        version=version,
        basis=wanted.basis,
        due_on=wanted.due_on,
        limit_set=wanted.limit_set,
        reason=reason,
        agreed_with=agreed_with,
        made_by=by,
        made_at=at,
    )
    asked = [(request.pk, pk, None) for pk in _keys(wanted.methods)]
    asked += [(request.pk, pk, sample) for sample, methods in wanted.of_samples.items() for pk in _keys(methods)]
    bulk.insert(RequestedMethod, ("request", "method", "sample"), asked)
    bulk.insert(
        RequestedTerms,
        ("request", "sample", "basis", "limit_set"),
        (
            (request.pk, sample, terms.basis.value, terms.limit_set.pk if terms.limit_set else None)
            for sample, terms in wanted.terms.items()
        ),
    )
    RequestedDerived.objects.bulk_create(
        RequestedDerived(request=request, definition=row) for row in dict.fromkeys(wanted.derived)
    )
    return request


def enter_concerns(
    request: Request, accepted: Accepted, sample_of_row: Mapping[int, int], *, by: Person, at: datetime
) -> None:
    """Keep what was accepted with the request: one query for the methods, one insert."""
    if not accepted:
        return
    methods = dict(Method.objects.values_list("code", "pk"))
    bulk.insert(
        RequestConcern,
        ("request", "sample", "method", "what", "words", "reason", "tell_client", "made_by", "made_at"),
        (
            (
                request.pk,
                sample_of_row[concern.row] if concern.row is not None else None,
                methods[concern.method],
                concern.what.value,
                concern.words,
                by_whom.reason.strip(),
                by_whom.tell_client,
                by.pk,
                at,
            )
            for concern, by_whom in accepted
        ),
    )


def carry_concerns(concerns: QuerySet[RequestConcern], to: Request, sample: Sample | None = None) -> None:
    """What was accepted of a request holds on in another version, by whom and when it was accepted; two queries.

    sample: of whom they are said there; None: as they were.
    """
    said = ("what", "words", "reason", "tell_client", "made_by", "made_at")
    rows = concerns.order_by("pk").values_list("sample", "method", *said)
    bulk.insert(
        RequestConcern,
        ("request", "sample", "method", *said),
        [(to.pk, sample.pk if sample else of, *rest) for of, *rest in rows],
    )


def concerns_said(accepted: Accepted) -> list[list[object]]:
    """What was accepted, as the audit event says it: row, words, reason, whether the client is told."""
    return [[concern.row, concern.words, one.reason.strip(), one.tell_client] for concern, one in accepted]


def asked_said(request: Request, wanted: Wanted) -> dict[str, object]:
    """What is asked for, as the audit event says it: for all samples, and by how many otherwise; no query."""
    return {
        "version": request.version,
        "methods": sorted(method.code for method in wanted.methods),
        "methods of some samples": sorted({m.code for own in wanted.of_samples.values() for m in own}),
        "basis": request.basis,
        "due": request.due_on.isoformat(),
        "limits": str(wanted.limit_set) if wanted.limit_set else None,
        **({"derived": sorted(str(row) for row in wanted.derived)} if wanted.derived else {}),
    }


def _keys(methods: Iterable[Method]) -> list[int]:
    """Each method once."""
    return list(dict.fromkeys(method.pk for method in methods))
