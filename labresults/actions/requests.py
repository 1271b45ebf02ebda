"""A request is changed after it was logged: a new version beside the older ones (ISO/IEC 17025:2017, 7.1)."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime

from labresults.actions.asking import (
    AcceptedConcern,
    accept_concerns,
    asked_said,
    carry_concerns,
    concerns_said,
    enter_concerns,
    enter_request,
)
from labresults.acts import BadInput, Done, WrongState, act
from labresults.models import DerivedDefinition, LimitSet, Method, Person, Request, Submission
from labresults.queries.request_change import review_anew, standing, with_due_day
from labresults.queries.wanted import Terms, Wanted
from labresults.terms import Basis


@act("change_request")
def change_request(
    *,
    by: Person,
    at: datetime,
    reason: str,
    submission: Submission,
    methods: Sequence[Method],
    basis: Basis,
    due_on: date | None,
    agreed_with: str,
    limit_set: LimitSet | None = None,
    of_samples: Mapping[int, Sequence[Method]] | None = None,
    terms: Mapping[int, Terms] | None = None,
    concerns: Sequence[AcceptedConcern] = (),
    seen_version: int | None = None,
    derived: Sequence[DerivedDefinition] | None = None,
) -> Done[Request]:
    """Replace what is asked for by a new version; the older one stays.

    due_on: None counts anew, from the receipt, and from today for methods that were not asked for before. of_samples,
    terms: what samples ask for instead of the rest, by their keys; None keeps it. concerns: what the review finds and
    nobody accepted before in the same words. seen_version: of the request that the person looked at. derived: what is
    to be computed from the results; None keeps it. Raises BadInput without a reason, an agreement or an acceptance,
    WrongState when somebody changed the request since.
    """
    if not reason or not agreed_with:
        raise BadInput("A changed request needs a reason, and who of the client agreed (ISO/IEC 17025:2017, 7.1).")
    now = standing(submission)
    if seen_version not in (None, now.request.version):
        raise WrongState(
            f"{now.request.made_by} changed this request meanwhile. Nothing was changed: look at it again."
        )
    own = now.wanted.of_samples if of_samples is None else of_samples
    wanted = Wanted(
        methods,
        basis,
        limit_set,
        due_on,
        own,
        now.wanted.terms if terms is None else terms,
        now.wanted.derived if derived is None else derived,
    )
    anew, kept = review_anew(now, wanted, at)
    accepted = accept_concerns(anew, concerns)
    wanted = with_due_day(now, wanted, at)
    request = enter_request(
        submission, wanted, version=now.request.version + 1, by=by, at=at, reason=reason, agreed_with=agreed_with
    )
    enter_concerns(request, accepted, now.keys, by=by, at=at)
    carry_concerns(now.request.concerns.filter(pk__in=[row.pk for row in kept]), request)
    return Done(
        request,
        subject=("submission", submission.number),
        before=asked_said(now.request, now.wanted),
        after=asked_said(request, wanted) | {"concerns": concerns_said(accepted), "agreed with": agreed_with},
    )
