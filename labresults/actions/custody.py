"""Custody: who has samples, from when and where, until the next entry; returned to the client, or disposed of."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from labresults import bulk
from labresults.acts import BadInput, Done, WrongState, act
from labresults.models import CustodyEntry, Person, Sample
from labresults.queries.custody import GONE, ends_of_keeping, entries_that_stand
from labresults.queries.people import site_time_zone
from labresults.readers.problem import Problem
from labresults.terms import Custody

_COLUMNS = ("sample", "held_by", "place", "since", "what", "taken_by", "reason", "made_by", "made_at")
_MOST_NAMED = 5


@act("record_custody")
def record_custody(
    *,
    by: Person,
    at: datetime,
    reason: str,
    samples: Sequence[Sample],
    what: Custody,
    held_by: Person,
    place: str,
    since: datetime | None = None,
    taken_by: str = "",
) -> Done[int]:
    """Record that samples changed holder or place; all of them, or none. Returns how many.

    since: now when not given. taken_by: who of the client took them back. Raises WrongState for a sample that was
    returned or disposed of before; BadInput with every problem by the place in `samples`, from 1, and when something is
    disposed of before the day until which it is kept without a reason.
    """
    since, place = since or at, place.strip()
    samples = list({sample.pk: sample for sample in samples}.values())
    _refuse_incomplete(samples, what, place, since, taken_by, at)
    standing = entries_that_stand(samples)
    _refuse_gone(samples, standing)
    _refuse_out_of_order(samples, standing, (what, held_by, place, taken_by), since)
    if what == Custody.DISPOSED:
        _refuse_too_early(samples, since, reason)
    bulk.insert(
        CustodyEntry,
        _COLUMNS,
        ((sample.pk, held_by.pk, place, since, what.value, taken_by, reason, by.pk, at) for sample in samples),
    )
    return Done(
        len(samples),
        subject=_subject(samples, place),
        before={"where": _where(samples, standing)},
        after={
            "what": str(what),
            "held by": str(held_by),
            "place": place,
            "since": since.isoformat(),
            "taken by": taken_by,
            "samples": [sample.number for sample in samples],
        },
    )


def _refuse_incomplete(
    samples: Sequence[Sample], what: Custody, place: str, since: datetime, taken_by: str, at: datetime
) -> None:
    if not samples:
        raise BadInput("No sample is named. Scan or type at least one laboratory number.")
    if what == Custody.RECEIVED:
        raise BadInput("Only a delivery is received. Say that the samples were moved or handed over.")
    if not place:
        raise BadInput("Say where the samples are now: a room, a shelf, or where they went.")
    if what == Custody.RETURNED and not taken_by.strip():
        raise BadInput("Say who of the client took the samples back, by name.")
    if since > at:
        raise BadInput(
            f"{_moment(since)} has not come yet. Give the moment when it was done, or leave it empty for now."
        )


def _refuse_gone(samples: Sequence[Sample], standing: Mapping[int, CustodyEntry]) -> None:
    gone = [sample for sample in samples if sample.pk in standing and standing[sample.pk].what in GONE]
    if not gone:
        return
    entry = standing[gone[0].pk]
    more = f", and {len(gone) - 1} more of these samples are gone" if len(gone) > 1 else ""
    raise WrongState(
        f"{gone[0]} was {entry.what} on {_moment(entry.since)} by {entry.held_by}{more}. Take it out of the box to"
        " record the others; what came back is logged anew at Reception."
    )


def _refuse_out_of_order(
    samples: Sequence[Sample], standing: Mapping[int, CustodyEntry], told: tuple[object, ...], since: datetime
) -> None:
    problems = []
    for row, sample in enumerate(samples, start=1):
        entry = standing.get(sample.pk)
        if entry is None:
            continue
        if since < entry.since:
            words = f"{sample} is with {entry.held_by}, {entry.place}, since {_moment(entry.since)}: that is later."
            problems.append(Problem(row, None, words, "Give a later moment, or leave it empty for now."))
        elif told == (entry.what, entry.held_by, entry.place, entry.taken_by):
            words = f"{sample} is with {entry.held_by}, {entry.place}, already, since {_moment(entry.since)}."
            problems.append(Problem(row, None, words, "Nothing to record: take it out of the box."))
    if problems:
        raise BadInput(f"{len(problems)} to correct; nothing was recorded.", tuple(problems))


def _refuse_too_early(samples: Sequence[Sample], since: datetime, reason: str) -> None:
    ends = ends_of_keeping(samples)
    day = since.astimezone(ZoneInfo(site_time_zone())).date()
    early = [sample for sample in samples if sample.pk in ends and day <= ends[sample.pk]]
    if not early or reason.strip():
        return
    problems = tuple(
        Problem(row, None, f"{sample} is kept until {ends[sample.pk]}.", "Wait, or give the reason.")
        for row, sample in enumerate(samples, start=1)
        if sample in early
    )
    raise BadInput(f"{len(early)} must still be kept: give a reason to dispose of them sooner.", problems)


def _subject(samples: Sequence[Sample], place: str) -> tuple[str, str]:
    """One sample, one submission, else the place: what the event is found under."""
    if len(samples) == 1:
        return ("sample", samples[0].number)
    submissions = {sample.submission.number for sample in samples}
    return ("submission", submissions.pop()) if len(submissions) == 1 else ("custody", place)


def _where(samples: Sequence[Sample], standing: Mapping[int, CustodyEntry]) -> list[list[object]]:
    """Where they were: each holder and place once, with how many samples and the first of them."""
    found: dict[tuple[str, str], list[str]] = {}
    for sample in samples:
        if sample.pk in standing:
            entry = standing[sample.pk]
            found.setdefault((str(entry.held_by), entry.place), []).append(sample.number)
    return [[holder, place, len(numbers), numbers[:_MOST_NAMED]] for (holder, place), numbers in found.items()]


def _moment(moment: datetime) -> str:
    return f"{moment.astimezone(ZoneInfo(site_time_zone())):%Y-%m-%d %H:%M}"
