"""Nonconforming work (ISO/IEC 17025:2017, 7.10): opened from what it touched, held, judged, corrected, closed."""

from collections.abc import Sequence
from datetime import datetime

from labresults import bulk
from labresults.actions.numbering import next_number
from labresults.acts import BadInput, Done, WrongState, act
from labresults.chain import digest_rows
from labresults.models import NonconformingResult, NonconformingStep, NonconformingWork, Person
from labresults.queries.forward import Doubt, NotThere, touched_results
from labresults.queries.nonconforming import Case, case
from labresults.terms import NonconformingAct


@act("open_nonconforming_work")
def open_nonconforming_work(
    *,
    by: Person,
    at: datetime,
    reason: str,
    doubt: Doubt,
    what: str,
    effect: str,
    hold: bool = True,
    seen: int | None = None,
) -> Done[NonconformingWork]:
    """Open a case with every result that a doubtful thing touched; hold: none of them may go out until it is released.

    what: what was wrong and how it was found; effect: what it may have done to results; seen: how many results the
    person saw. Raises BadInput where either is empty, the thing is not there, or nothing was touched; WrongState where
    results came in between.
    """
    if not what.strip() or not effect.strip():
        raise BadInput("Say what was wrong and how it was found, and what it may have done to results.")
    now = _touched(doubt, seen)
    work = NonconformingWork.objects.create(
        number=next_number("N", at), kind=doubt.kind, name=doubt.name, element=doubt.element, period_from=doubt.since,
        period_to=doubt.until, what=what.strip(), effect=effect.strip(), made_by=by, made_at=at,
    )  # fmt: skip
    bulk.insert(NonconformingResult, ["work", "result"], [(work.pk, pk) for pk in now])
    if hold:
        text = reason.strip() or "Held when it was opened."
        NonconformingStep.objects.create(work=work, act=NonconformingAct.HOLD, text=text, made_by=by, made_at=at)
    said = {"results": len(now), "results digest": digest_rows((pk,) for pk in now), "on hold": hold}
    return Done(work, subject=("nonconforming work", work.number), after=_opened(work) | said)


def _touched(doubt: Doubt, seen: int | None) -> list[int]:
    """Keys of the results that it touched. Raises BadInput where there are none, WrongState for others than seen."""
    try:
        now = sorted(touched_results(doubt).values_list("pk", flat=True))
    except NotThere as error:
        raise BadInput(f"{error} Look at its name again.") from error
    if not now:
        raise BadInput("It touched no result: there is nothing to hold, to judge or to correct. Widen what is asked.")
    if seen is not None and seen != len(now):
        raise WrongState(f"It touched {seen} results when you looked, and {len(now)} now. Look again, then open it.")
    return now


def _opened(work: NonconformingWork) -> dict[str, object]:
    """A case as it was opened, in the event."""
    return {
        "found from": " ".join(filter(None, [work.kind, work.name])),
        "element": work.element,
        "from": work.period_from.isoformat() if work.period_from else None,
        "until": work.period_to.isoformat() if work.period_to else None,
        "what": work.what,
        "effect": work.effect,
    }


@act("record_nonconforming_step")
def record_nonconforming_step(
    *, by: Person, at: datetime, reason: str, work: NonconformingWork, step: NonconformingAct, text: str
) -> Done[NonconformingStep]:
    """Record what was done about a case, by name. Closed is for good, and needs that nothing is on hold any more.

    Raises BadInput without a text, WrongState where the case is closed, is on hold already or is not, or was never
    judged and is to be closed.
    """
    if not text.strip():
        raise BadInput("Say what was done or decided, and why: it stays on the record.")
    now = case(work.number)
    _refuse_step(now, step)
    row = NonconformingStep.objects.create(work=work, act=step, text=text.strip(), made_by=by, made_at=at)
    return Done(
        row,
        subject=("nonconforming work", work.number),
        before={"on hold": now.on_hold},
        after={"step": step, "text": row.text, "on hold": case(work.number).on_hold},
    )


def _refuse_step(now: Case, step: NonconformingAct) -> None:
    if now.closed:
        closed = now.closed
        raise WrongState(f"{now.work} was closed by {closed.made_by}, for good. Open another case if there is more.")
    if step == NonconformingAct.HOLD and now.on_hold:
        raise WrongState(f"{now.work} is on hold already.")
    if step == NonconformingAct.RELEASE and not now.on_hold:
        raise WrongState(f"{now.work} is not on hold: there is nothing to release.")
    if step != NonconformingAct.CLOSE:
        return
    if now.on_hold:
        raise WrongState(f"{now.work} still holds {now.touched} results. Release them first, with the reason.")
    if not _has(now.steps, NonconformingAct.JUDGE):
        raise WrongState(f"Nobody has judged {now.work}: record whether the results are acceptable, then close it.")


def _has(steps: Sequence[NonconformingStep], what: NonconformingAct) -> bool:
    return any(step.act == what for step in steps)
