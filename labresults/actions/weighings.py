"""What is weighed, made up and diluted of a batch, tube by tube: all that is sent, or nothing; nothing twice."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from labresults.acts import BadInput, Done, WrongState, act, require_task
from labresults.models import Equipment, Person, PreparationBatch, Weighing
from labresults.queries.materials import in_words, newest_check, refuse_expired, refuse_overdue
from labresults.queries.weighing_check import (
    NEEDED,
    Bench,
    Taken,
    Weighed,
    as_recorded,
    bench_for,
    check_rows,
    lots_of,
    plain,
)
from labresults.terms import Task

__all__ = ["NEEDED", "Weighed", "record_weighings"]


@act("record_weighings")
def record_weighings(
    *,
    by: Person,
    at: datetime,
    reason: str,
    batch: PreparationBatch,
    rows: Sequence[Weighed],
    balance: Equipment | None = None,
    observed_at: datetime | None = None,
) -> Done[list[Weighing]]:
    """Record masses, volumes and dilutions of a batch: all rows, or none. What is recorded already is left as it is.

    Raises BadInput with every problem at its tube: unknown or discarded tube, one that somebody else recorded
    meanwhile, another recording or a mass outside the method's window without a reason, something missing or that
    cannot be, an unclear dilution; and for an overdue balance or an expired lot that nobody allowed for the day.
    WrongState when every row is recorded already.
    """
    require_task(by, Task.PREPARE, batch.method_version.method, at.date())
    bench = bench_for(batch, rows, at)
    new, problems = check_rows(bench, rows, balance)
    if problems:
        raise BadInput(f"{len(problems)} to correct; nothing was recorded.", tuple(problems))
    if rows and not new:
        raise WrongState(_all_recorded(len(rows)))
    overrides = refuse_overdue(balance, at.date()) if balance else []
    overrides += refuse_expired(lots_of(new, bench), at.date())
    check = newest_check(balance, at.date()) if balance else None
    made = [
        Weighing.objects.create(
            portion=taken.portion,
            version=bench.version_of(taken.portion) + 1,
            observed_at=observed_at or at,
            balance=balance,
            balance_check=check,
            reason=taken.row.reason,
            made_by=by,
            made_at=at,
            **taken.values,
        )
        for taken in new
    ]
    return Done(
        made,
        subject=("batch", batch.number),
        before=_before(bench, new),
        after={
            "balance": balance.code if balance else None,
            "balance check": check.done_on.isoformat() if check else None,
            "tubes": [plain({"label": t.row.label, **t.values, "reason": t.row.reason}) for t in new],
            "recorded already": len(rows) - len(new),
            "allowed": [in_words(override) for override in overrides],
        },
    )


def _before(bench: Bench, new: Sequence[Taken]) -> dict[str, Any] | None:
    """What was recorded of these tubes before, by label."""
    earlier = {t.row.label: bench.recorded[t.portion.pk] for t in new if t.portion.pk in bench.recorded}
    return {label: plain(as_recorded(row)) for label, row in earlier.items()} or None


def _all_recorded(count: int) -> str:
    if count == 1:
        return "This tube is recorded already with these values; nothing was recorded again."
    return f"All {count} tubes are recorded already with these values; nothing was recorded again."
