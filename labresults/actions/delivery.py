"""Reception: a delivery is logged whole or not at all, with what is asked for and what its review accepted."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

from labresults.actions.asking import (
    AcceptedConcern,
    accept_concerns,
    asked_said,
    concerns_said,
    enter_concerns,
    enter_request,
)
from labresults.actions.entering import Entered, enter_samples
from labresults.actions.numbering import next_number
from labresults.acts import BadInput, Done, WrongState, act
from labresults.models import Client, DerivedDefinition, LimitSet, Method, Person, Submission, UsualRequest
from labresults.queries.delivery import problems_of
from labresults.queries.due import due_on as due_for
from labresults.queries.people import site_time_zone
from labresults.queries.request_review import logged_with, review
from labresults.queries.wanted import Terms, Wanted
from labresults.readers.delivery import NO_LIMITS, DeliveredSample
from labresults.readers.problem import Problem
from labresults.terms import Basis


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
    concerns: Sequence[AcceptedConcern] = (),
    form_key: str = "",
    seals: str = "",
    temperature_C: float | None = None,
    kept_days: int | None = None,
    acidified: bool = False,
    derived: Sequence[DerivedDefinition] = (),
) -> Done[Submission]:
    """Log a delivery: all rows, or none. Each sample gets its laboratory number, a container and a first holder.

    methods, basis, limit_set: for every sample that names none of its own. due_on: from the longest turnaround when not
    given. concerns: what the review of the request finds and the person accepts, each with a reason. form_key: the same
    one a second time logs nothing. acidified: the waters were acidified here on arrival, and wait for their time.
    derived: what is to be computed from the results.
    Raises BadInput with every problem at its row, WrongState for a form logged already.
    """
    received_at = received_at or at
    _refuse(rows, methods, form_key, at)
    accepted = accept_concerns(review(rows, methods=methods, at=at), concerns)
    submission = Submission.objects.create(
        number=next_number("S", at), client=client, reference=reference, received_at=received_at, received_by=by,
        condition=condition, sampling=sampling, seals=seals, temperature_C=temperature_C, kept_days=kept_days,
        form_key=form_key or None,
    )  # fmt: skip
    entered = enter_samples(submission, rows, by=by, at=at, place=place, since=received_at, acidified=acidified)
    wanted = with_rows(Wanted(methods, basis, limit_set, due_on, derived=derived), entered, received_at, at)
    request = enter_request(submission, wanted, version=1, by=by, at=at)
    enter_concerns(request, accepted, {one.row.row: one.pk for one in entered}, by=by, at=at)
    said = _delivery_said(submission) | {"acidified here": acidified, "concerns": concerns_said(accepted)}
    said |= asked_said(request, wanted) | _samples_said(entered)
    return Done(submission, subject=("submission", submission.number), after=said)


@act("remember_request")
def remember_request(
    *,
    by: Person,
    at: datetime,
    reason: str,
    client: Client,
    methods: Sequence[Method],
    basis: Basis = Basis.AS_RECEIVED,
    limit_set: LimitSet | None = None,
) -> Done[UsualRequest]:
    """Remember what a client usually asks for; without methods, forget it."""
    usual = UsualRequest.objects.create(client=client, basis=basis, limit_set=limit_set, made_by=by, made_at=at)
    usual.methods.set(methods)
    return Done(
        usual,
        subject=("client", client.code),
        after={
            "usual methods": sorted(method.code for method in methods),
            "basis": str(basis),
            "limits": str(limit_set) if limit_set else None,
        },
    )


def _refuse(rows: Sequence[DeliveredSample], methods: Sequence[Method], form_key: str, at: datetime) -> None:
    earlier = logged_with(form_key)
    if earlier:
        raise WrongState(f"This form is logged already, as {earlier}. Nothing was logged again.")
    problems = problems_of(rows, at)
    if problems:
        raise BadInput(f"{len(problems)} to correct; nothing was logged.", problems)
    if not methods and not all(row.methods for row in rows):
        raise BadInput("Say which methods are asked for.")


def with_rows(asked: Wanted, entered: Sequence[Entered], received_at: datetime, at: datetime) -> Wanted:
    """What is asked for, completed by what single rows say and by the day on which it is due."""
    own_methods = {code for one in entered for code in one.row.methods}
    by_code = {method.code: method for method in Method.objects.filter(code__in=own_methods)}
    sets = _limit_sets(entered)
    of_samples = {one.pk: [by_code[code] for code in one.row.methods] for one in entered if one.row.methods}
    terms = {
        one.pk: Terms(
            Basis(one.row.basis) if one.row.basis else asked.basis,
            sets[one.row.limits] if one.row.limits else asked.limit_set,
        )
        for one in entered
        if one.row.basis or one.row.limits
    }
    due = asked.due_on
    if due is None:
        zone = ZoneInfo(site_time_zone())
        due = due_for([*asked.methods, *by_code.values()], received_at.astimezone(zone).date(), at.date())
    return replace(asked, due_on=due, of_samples=of_samples, terms=terms)


def _limit_sets(entered: Sequence[Entered]) -> dict[str, LimitSet | None]:
    """Limit sets as rows write them. Raises BadInput where one of the rows names another."""
    if not any(one.row.limits for one in entered):
        return {}
    sets: dict[str, LimitSet | None] = {NO_LIMITS: None} | {str(row): row for row in LimitSet.objects.all()}
    problems = tuple(
        Problem(
            one.row.row, "limits", f"“{one.row.limits}” are no limits that are known.", f"Known: {', '.join(sets)}."
        )
        for one in entered
        if one.row.limits and one.row.limits not in sets
    )
    if problems:
        raise BadInput(f"{len(problems)} to correct; nothing was logged.", problems)
    return sets


def _delivery_said(submission: Submission) -> dict[str, object]:
    """What was delivered, and how, in the event."""
    return {
        "client": submission.client.code,
        "reference": submission.reference,
        "condition": submission.condition,
        "seals": submission.seals,
        "temperature, °C": submission.temperature_C,
        "kept, days": submission.kept_days,
    }


def _samples_said(entered: Sequence[Entered]) -> dict[str, object]:
    """Each sample in the event: number, the client's words and the matrix; and which ones ask for what instead."""
    alone: dict[str, list[str]] = {}
    for one in entered:
        asked = "; ".join(filter(None, [", ".join(one.row.methods), one.row.basis, one.row.limits]))
        if asked:
            alone.setdefault(asked, []).append(one.number)
    return {
        "samples": [[one.number, one.row.client_identification, one.row.matrix] for one in entered],
        **({"asked of single samples": alone} if alone else {}),
    }
