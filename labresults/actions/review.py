"""Review: a second person approves, refuses or sends back. Never their own work, unless a named policy says so."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from labresults.actions.second_factor import confirm_signature
from labresults.actions.signatures import counted_signature
from labresults.acts import BadInput, Done, NotAuthorised, WrongState, act, require_task
from labresults.models import Laboratory, Person, Result, Review, ReviewedResult
from labresults.queries.decidable import (
    refuse_decided,
    refuse_not_standing,
    refuse_printed,
    refuse_unfit,
    refuse_unseen,
)
from labresults.queries.history import head
from labresults.queries.review_facts import Facts, facts_of, samples_of
from labresults.queries.shared_rows import by_key, give_samples, give_shared
from labresults.queries.signed import own_work, shown_digest, values_digest
from labresults.terms import Decision, Station, Task

Signed = Sequence[int]
BACK_TO = (Station.RUNS, Station.PREPARATION)


@dataclass(frozen=True)
class TurnedDown:
    """Results that are refused, or sent back to a station, for one reason.

    over: keys of earlier reviews of them that whoever decides has seen, and goes against.
    """

    results: Signed
    decision: Decision
    reason: str
    sent_to: Station | None = None
    over: Collection[int] = ()


@dataclass(frozen=True)
class _Known:
    """What was known of the results' samples when the chain ended so."""

    head: tuple[int, str]
    facts: Facts
    whole: bool = False  # of their whole submissions


def _look(*, results: Signed, **_: Any) -> _Known:
    """Look at the results before the lock."""
    return _Known(head(), facts_of(samples_of(results)))


def _look_at_all(*, results: Signed, turned_down: Sequence[TurnedDown] = (), **_: Any) -> _Known:
    """Look at everything before the lock: it takes seconds where there are tens of thousands of results.

    At whole submissions, as their page does: what is asked of a result may speak of the samples beside it.
    """
    keys = [*results, *(key for one in turned_down for key in one.results)]
    return _Known(head(), facts_of(samples_of(keys, whole=True)), whole=True)


@act("approve_results", prepare=_look_at_all, around=counted_signature)
def approve_results(
    *,
    by: Person,
    at: datetime,
    reason: str,
    prepared: _Known,
    results: Signed,
    password: str,
    code: str = "",
    meaning: str = "Reviewed and approved",
    looked_at: Collection[int] = (),
    seen_sha256: str = "",
) -> Done[Review]:
    """Approve results by their keys, signed with the password entered again (21 CFR 11.200(a)(1)).

    code: of the second factor, where the person's is on. looked_at: keys of those that ask for a look and were accepted
    one by one. seen_sha256: `shown_digest` of what was shown; "" where nobody saw a page.

    Raises NotAuthorised for a wrong password or code, for own work, or a method that the person may not review;
    WrongState for a result that is not selected, was decided of before, is held, asks for a look and was not accepted
    by itself, or that an unaccepted failed control sample touches; and where other values or doubts were shown.
    """
    rows = _load(results)
    has_code = confirm_signature(by, at, password, code)
    facts = _still(prepared, rows)
    review, said = _approve(rows, facts, by, at, reason, meaning, looked_at, seen_sha256, has_code)
    return Done(review, subject=_subject(rows), after=said)


@act("refuse_results", prepare=_look, around=counted_signature)
def refuse_results(
    *,
    by: Person,
    at: datetime,
    reason: str,
    prepared: _Known,
    results: Signed,
    password: str,
    code: str = "",
    over: Collection[int] = (),
) -> Done[Review]:
    """Refuse results: they cannot be reported. over: as `TurnedDown` says.

    Raises BadInput without a reason; NotAuthorised for a wrong password; WrongState for a result that does not stand,
    that somebody decided of in a review that `over` does not name, or that a certificate in force prints.
    """
    has_code = confirm_signature(by, at, password, code)
    rows = _load(results)
    one = TurnedDown(results, Decision.REFUSE, reason, over=over)
    review = _turn_down(one, rows, _still(prepared, rows), by, at, has_code)
    return Done(review, subject=_subject(rows), after=_said(review, rows))


@act("send_back_results", prepare=_look, around=counted_signature)
def send_back_results(
    *,
    by: Person,
    at: datetime,
    reason: str,
    prepared: _Known,
    results: Signed,
    password: str,
    code: str = "",
    to: Station = Station.RUNS,
    over: Collection[int] = (),
) -> Done[Review]:
    """Send results back: to Runs, to be measured or evaluated again, or to Preparation, to be prepared anew.

    Raises BadInput for another station; the rest as `refuse_results`.
    """
    has_code = confirm_signature(by, at, password, code)
    rows = _load(results)
    one = TurnedDown(results, Decision.SEND_BACK, reason, to, over)
    review = _turn_down(one, rows, _still(prepared, rows), by, at, has_code)
    return Done(review, subject=_subject(rows), after=_said(review, rows))


@act("sign_review", prepare=_look_at_all, around=counted_signature)
def sign_review(
    *,
    by: Person,
    at: datetime,
    reason: str,
    prepared: _Known,
    results: Signed,
    password: str,
    code: str = "",
    turned_down: Sequence[TurnedDown] = (),
    meaning: str = "Reviewed and approved",
    looked_at: Collection[int] = (),
    seen_sha256: str = "",
) -> Done[list[Review]]:
    """Sign everything that was decided of some results, all of it or nothing, with one signature.

    results: to approve, perhaps none; turned_down: refused or sent back. The rest as `approve_results`, which also says
    what is raised, as `refuse_results` does; BadInput too where one result is in two places, or nothing is decided.
    """
    keys = [*results, *(key for one in turned_down for key in one.results)]
    if not keys or len(keys) != len(set(keys)):
        raise BadInput("Say of each result one thing: approved, refused or sent back.")
    has_code = confirm_signature(by, at, password, code)
    rows, turned = _load(results) if results else [], [(one, _load(one.results)) for one in turned_down]
    facts = _still(prepared, [*rows, *(row for _, its in turned for row in its)])
    reviews = [_turn_down(one, its, facts, by, at, has_code) for one, its in turned]
    said = [_said(review, its) for review, (_, its) in zip(reviews, turned, strict=True)]
    if rows:
        review, words = _approve(rows, facts, by, at, reason, meaning, looked_at, seen_sha256, has_code)
        reviews, said = [review, *reviews], [words, *said]
    return Done(reviews, subject=_subject(rows or turned[0][1]), after={"signed": said})


def _approve(
    rows: Sequence[Result],
    facts: Facts,
    by: Person,
    at: datetime,
    reason: str,
    meaning: str,
    looked_at: Collection[int],
    seen_sha256: str,
    has_code: bool,
) -> tuple[Review, dict[str, object]]:
    exception = _refuse_own_work(by, rows, facts, reason)
    _refuse_method(rows, at, by)
    refuse_unfit(rows, facts)
    looks = {row.pk: sorted({look.why for look in facts.looks(row)}) for row in rows}
    if seen_sha256 not in ("", shown_digest(rows, looks)):
        raise WrongState(
            "These are not the values that were shown, or something speaks against them since. Look again, then sign."
        )
    refuse_unseen(rows, looks, looked_at)
    review = _write(Decision.APPROVE, meaning, rows, by, at, reason, exception, values_digest(rows), None, has_code)
    asked = [[key, *whys] for key, whys in looks.items() if whys]
    return review, _said(review, rows) | ({"accepted one by one": asked} if asked else {})


def _turn_down(
    one: TurnedDown, rows: Sequence[Result], facts: Facts, by: Person, at: datetime, has_code: bool
) -> Review:
    if not one.reason.strip():
        raise BadInput("A refusal needs a reason that the analyst can read.")
    to = (one.sent_to or Station.RUNS) if one.decision == Decision.SEND_BACK else None
    if to not in (None, *BACK_TO) or one.decision == Decision.APPROVE:
        raise BadInput("Results are refused, or sent back to Runs or to Preparation.")
    _refuse_method(rows, at, by)
    refuse_not_standing(rows, facts)
    refuse_decided(rows, facts, one.over)
    refuse_printed(rows)
    meaning = f"Sent back to {to.capitalize()}" if to else "Refused"
    return _write(one.decision, meaning, rows, by, at, one.reason.strip(), "", values_digest(rows), to, has_code)


def _load(results: Signed) -> list[Result]:
    rows = list(by_key(Result.objects.order_by("pk"), results).values())
    give_shared(rows, "portion__batch")
    give_samples(rows, "submission")
    if not rows or len(rows) != len(set(results)):
        raise BadInput("Say which results: some of these are not there.")
    if any(not row.is_candidate for row in rows):
        raise BadInput("A control sample's result is judged, not approved.")
    return rows


def _still(prepared: _Known, rows: Sequence[Result]) -> Facts:
    """What is known, under the lock: where no act came between, what was found before it."""
    if head() == prepared.head:
        return prepared.facts
    return facts_of(samples_of((row.pk for row in rows), whole=prepared.whole))


def _refuse_own_work(by: Person, rows: Collection[Result], facts: Facts, reason: str) -> str:
    """Judged for each result: whoever took part in it, from the bench to what was chosen, may not approve it."""
    own = own_work(by, rows, facts)
    if not own:
        return ""
    policy = Laboratory.objects.values_list("separation_exception", flat=True).get(pk=1)
    if policy and reason.strip():
        return str(policy)
    hint = " Its exception policy asks for a reason." if policy else ""
    raise NotAuthorised(f"{by} took part in {', '.join(sorted(own))}: somebody else must approve.{hint}")


def _refuse_method(rows: Sequence[Result], at: datetime, by: Person) -> None:
    for method in {row.evaluation.run.method_version.method for row in rows}:
        require_task(by, Task.REVIEW, method, at.date())


def _write(
    decision: Decision,
    meaning: str,
    rows: Sequence[Result],
    by: Person,
    at: datetime,
    reason: str,
    exception: str,
    digest: str,
    to: Station | None,
    has_code: bool,
) -> Review:
    review = Review.objects.create(
        decision=decision, meaning=meaning, reason=reason, exception=exception, values_sha256=digest,
        second_factor=has_code, sent_to=to or "", made_by=by, made_at=at,
    )  # fmt: skip
    ReviewedResult.objects.bulk_create(ReviewedResult(review=review, result=row) for row in rows)
    return review


def _subject(rows: Sequence[Result]) -> tuple[str, str]:
    """What the event is filed under. Raises BadInput for results of several submissions: one would lack its event."""
    numbers = sorted({row.sample.submission.number for row in rows if row.sample})
    if len(numbers) > 1:
        raise BadInput(f"These results are of {' and '.join(numbers)}: sign one submission at a time.")
    return ("submission", numbers[0] if numbers else "")


def _said(review: Review, rows: Sequence[Result]) -> dict[str, object]:
    return {
        "decision": review.decision,
        "meaning": review.meaning,
        "exception": review.exception,
        "second factor": review.second_factor,
        "values": review.values_sha256,
        "results": [[row.pk, row.sample.number if row.sample else "", row.element_id] for row in rows],
    } | ({"reason": review.reason} if review.reason else {})
