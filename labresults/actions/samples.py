"""Reception: clients, deliveries, requests and results in words."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta

from labresults.actions.numbering import next_number, next_sample_numbers
from labresults.acts import BadInput, Done, act
from labresults.models import (
    Client,
    CustodyEntry,
    Element,
    Limit,
    LimitSet,
    Matrix,
    Method,
    MethodVersion,
    NotMeasuredResult,
    Person,
    Request,
    RequestedMethod,
    Sample,
    Submission,
    Subsample,
)
from labresults.queries.methods import current_versions
from labresults.readers.delivery import DeliveredSample, check_delivery, quantity
from labresults.terms import Basis, NotMeasured, SubsampleKind


@act("register_client")
def register_client(
    *,
    by: Person,
    at: datetime,
    reason: str,
    code: str,
    name: str,
    address: str = "",
    contact: str = "",
    email: str = "",
) -> Done[Client]:
    """Enter a client. Raises BadInput when the code or name is taken."""
    if Client.objects.filter(code=code).exists() or Client.objects.filter(name=name).exists():
        raise BadInput(f"There is a client {code} or {name} already.")
    client = Client.objects.create(code=code, name=name, address=address, contact=contact, email=email)
    return Done(client, subject=("client", code), after={"name": name, "address": address, "contact": contact})


@act("register_matrices")
def register_matrices(*, by: Person, at: datetime, reason: str, area: str, names: Sequence[str]) -> Done[list[Matrix]]:
    """Enter the words for what is delivered in one area of work; words that are known stay as they are."""
    known = set(Matrix.objects.filter(name__in=names).values_list("name", flat=True))
    new = [name for name in names if name not in known]
    Matrix.objects.bulk_create(Matrix(name=name, area=area) for name in new)
    return Done(list(Matrix.objects.filter(name__in=names)), subject=("matrices", area), after={"new": new})


@act("register_limits")
def register_limits(
    *,
    by: Person,
    at: datetime,
    reason: str,
    name: str,
    edition: str,
    source: str,
    limits: Sequence[tuple[str, float, str]],
    basis: Basis = Basis.AS_RECEIVED,
) -> Done[LimitSet]:
    """Enter upper limits (element, value, unit) of one edition of one source. Raises BadInput when it is there.

    basis: what the limits are on; results on another basis are not compared with them.
    """
    if LimitSet.objects.filter(name=name, edition=edition).exists():
        raise BadInput(f"{name}, {edition} is there already. Enter a new edition instead.")
    limit_set = LimitSet.objects.create(name=name, edition=edition, source=source, basis=basis)
    Limit.objects.bulk_create(
        Limit(limit_set=limit_set, element_id=symbol, value=value, unit=unit) for symbol, value, unit in limits
    )
    return Done(
        limit_set,
        subject=("limits", str(limit_set)),
        after={"source": source, "basis": str(basis), "limits": list(map(list, limits))},
    )


@act("receive_samples")
def receive_samples(
    *,
    by: Person,
    at: datetime,
    reason: str,
    client: Client,
    rows: Sequence[DeliveredSample],
    methods: Sequence[Method],
    reference: str = "",
    basis: Basis = Basis.AS_RECEIVED,
    due_on: date | None = None,
    limit_set: LimitSet | None = None,
    condition: str = "",
    sampling: str = "",
    place: str = "reception",
    received_at: datetime | None = None,
) -> Done[Submission]:
    """Log a delivery: all rows, or none. Each sample gets its laboratory number, a container and a first holder.

    methods: for every sample that names none of its own. due_on: from the longest turnaround when not given.
    Raises BadInput with every problem at its row.
    """
    versions = current_versions(at.date())
    _refuse_bad_rows(rows, methods, versions)
    submission = Submission.objects.create(
        number=next_number("S", at),
        client=client,
        reference=reference,
        received_at=received_at or at,
        received_by=by,
        condition=condition,
        sampling=sampling,
    )
    samples = _enter_samples(submission, rows, at)
    request = Request.objects.create(
        submission=submission,
        version=1,
        basis=basis,
        due_on=due_on or _due(at.date(), methods, rows, versions),
        limit_set=limit_set,
        made_by=by,
        made_at=at,
    )
    _ask_for(request, methods, rows, samples)
    _take_into_custody(samples, by, at, place)
    return Done(
        submission,
        subject=("submission", submission.number),
        after={
            "client": client.code,
            "reference": reference,
            "samples": [[s.number, s.client_identification, s.matrix.name] for s in samples],
            "methods": sorted(method.code for method in methods),
            "basis": str(basis),
            "due": request.due_on.isoformat(),
        },
    )


@act("change_request")
def change_request(
    *,
    by: Person,
    at: datetime,
    reason: str,
    submission: Submission,
    methods: Sequence[Method],
    basis: Basis,
    due_on: date,
    agreed_with: str,
    limit_set: LimitSet | None = None,
) -> Done[Request]:
    """Replace what is asked for by a new version; the older one stays. Raises BadInput without reason or agreement."""
    if not reason or not agreed_with:
        raise BadInput("A changed request needs a reason, and who of the client agreed (ISO/IEC 17025:2017, 7.1).")
    old = submission.requests.latest("version")
    request = Request.objects.create(
        submission=submission,
        version=old.version + 1,
        basis=basis,
        due_on=due_on,
        limit_set=limit_set,
        reason=reason,
        agreed_with=agreed_with,
        made_by=by,
        made_at=at,
    )
    RequestedMethod.objects.bulk_create(RequestedMethod(request=request, method=method) for method in methods)
    return Done(
        request,
        subject=("submission", submission.number),
        before=_asked(old),
        after={**_asked(request), "agreed with": agreed_with},
    )


@act("state_not_measured")
def state_not_measured(
    *,
    by: Person,
    at: datetime,
    reason: str,
    sample: Sample,
    method: Method,
    word: NotMeasured,
    element: Element | None = None,
) -> Done[NotMeasuredResult]:
    """Give a result in words for a method (or one element of it). Raises BadInput without a reason."""
    if not reason:
        raise BadInput(f"“{word}” needs a reason that a client can read.")
    row = NotMeasuredResult.objects.create(
        sample=sample, method=method, element=element, word=word, reason=reason, made_by=by, made_at=at
    )
    return Done(
        row,
        subject=("sample", sample.number),
        after={"method": method.code, "element": element.pk if element else "all", "word": str(word)},
    )


def _enter_samples(submission: Submission, rows: Sequence[DeliveredSample], at: datetime) -> list[Sample]:
    """The rows as samples, with laboratory numbers in their order."""
    matrices = {matrix.name: matrix for matrix in Matrix.objects.all()}
    numbers = next_sample_numbers(len(rows), at)
    Sample.objects.bulk_create(
        Sample(
            number=number,
            submission=submission,
            ordinal=ordinal,
            client_identification=row.client_identification,
            matrix=matrices[row.matrix],
            delivered_g=quantity(row.delivered_g),
            delivered_mL=quantity(row.delivered_mL),
            note=row.note,
        )
        for ordinal, (number, row) in enumerate(zip(numbers, rows, strict=True), start=1)
    )
    return list(submission.samples.select_related("submission", "matrix").order_by("ordinal"))


def _take_into_custody(samples: Sequence[Sample], by: Person, at: datetime, place: str) -> None:
    """Each sample's container, and who has it first."""
    Subsample.objects.bulk_create(
        Subsample(sample=sample, kind=SubsampleKind.CONTAINER, mass_g=sample.delivered_g, made_by=by, made_at=at)
        for sample in samples
    )
    CustodyEntry.objects.bulk_create(
        CustodyEntry(
            sample=sample, held_by=by, place=place, since=sample.submission.received_at, made_by=by, made_at=at
        )
        for sample in samples
    )


def _refuse_bad_rows(
    rows: Sequence[DeliveredSample], methods: Sequence[Method], versions: dict[str, MethodVersion]
) -> None:
    matrices = set(Matrix.objects.values_list("name", flat=True))
    problems = check_delivery(rows, matrices=matrices, methods=versions)
    if problems:
        raise BadInput(f"{len(problems)} to correct; nothing was logged.", problems)
    if not methods and not all(row.methods for row in rows):
        raise BadInput("Say which methods are asked for.")
    without = [method.code for method in methods if method.code not in versions]
    if without:
        raise BadInput(f"No version of {', '.join(without)} is valid today.")


def _due(
    on: date, methods: Sequence[Method], rows: Sequence[DeliveredSample], versions: dict[str, MethodVersion]
) -> date:
    """The day after the longest turnaround asked for, in working days from Monday to Friday."""
    codes = {method.code for method in methods} | {code for row in rows for code in row.methods}
    days = max(versions[code].turnaround_days for code in codes)
    while days:
        on += timedelta(days=1)
        days -= on.weekday() < 5
    return on


def _ask_for(
    request: Request, methods: Sequence[Method], rows: Sequence[DeliveredSample], samples: Sequence[Sample]
) -> None:
    own = {code for row in rows for code in row.methods}
    by_code = {method.code: method for method in Method.objects.filter(code__in=own)}
    asked = [RequestedMethod(request=request, method=method) for method in methods]
    for row, sample in zip(rows, samples, strict=True):
        asked += [RequestedMethod(request=request, method=by_code[code], sample=sample) for code in row.methods]
    RequestedMethod.objects.bulk_create(asked)


def _asked(request: Request) -> dict[str, object]:
    return {
        "version": request.version,
        "methods": sorted(request.methods.values_list("method__code", flat=True).distinct()),
        "basis": request.basis,
        "due": request.due_on.isoformat(),
        "limits": str(request.limit_set) if request.limit_set else None,
    }
