"""Holding times: how long after sampling an element of a matrix may wait for its measurement."""

from datetime import datetime

from labresults.acts import BadInput, Done, act
from labresults.models import Element, HoldingTime, Matrix, Person


@act("register_holding_time")
def register_holding_time(
    *,
    by: Person,
    at: datetime,
    reason: str,
    matrix: Matrix,
    hours: float,
    source: str,
    element: Element | None = None,
) -> Done[HoldingTime]:
    """Enter a holding time from sampling to measurement [h]; it stands instead of the older one.

    element: None is every element that has no holding time of its own. Raises BadInput without a source, or where the
    time is not above zero.
    """
    if not 0 < hours < float("inf"):
        raise BadInput(f"A holding time of {hours:g} h cannot be: give hours above zero.")
    if not source.strip():
        raise BadInput("Say where the holding time is from: a standard and its table, or: common practice, no source.")
    same = HoldingTime.objects.filter(matrix=matrix, element=element).order_by("pk").last()
    row = HoldingTime.objects.create(
        matrix=matrix, element=element, hours=hours, source=source.strip(), made_by=by, made_at=at
    )
    of = f"{element or 'other elements'} in {matrix}"
    return Done(
        row,
        subject=("holding time", of),
        before={"hours": same.hours, "source": same.source} if same else None,
        after={"hours": hours, "source": row.source},
    )
