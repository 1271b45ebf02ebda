"""Clients told of nonconforming work: one notice a certificate, and one step of the case that says who was told."""

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from labresults.actions.nonconforming import record_nonconforming_step
from labresults.acts import Refusal
from labresults.terms import NonconformingAct, NoticeKind
from reports.actions.notices import notify_client
from reports.models import Certificate
from reports.queries.recipients import addressees, already_told

if TYPE_CHECKING:
    from labresults.models import NonconformingWork, Person


def tell_of_work(
    certificates: Sequence[Certificate],
    work: "NonconformingWork",
    words: str,
    by: "Person",
    now: Callable[[], datetime],
) -> list[str]:
    """Tell the clients of these certificates, one act each, then record the step; what went wrong, in words.

    Nothing is recorded where nobody could be told. Raises Refusal as `record_nonconforming_step`.
    """
    told, troubles = [], []
    for row in certificates:
        there = already_told(row, work, words)
        to = [one for one in addressees(row, NoticeKind.NONCONFORMING) if (one.email or one.name).lower() not in there]
        if there and not to:
            troubles.append(f"{row}: everybody was told this already.")
            continue
        try:
            notices = notify_client(
                by=by, at=now(), reason=words, certificate=row, kind=NoticeKind.NONCONFORMING, to=to, work=work,
                words=words,
            )  # fmt: skip
        except Refusal as refusal:
            troubles.append(f"{row}: {refusal}")
            continue
        troubles += [f"{row}, {notice.email}: {notice.trouble}" for notice in notices if notice.trouble]
        told.append(f"{row}: {', '.join(notice.name for notice in notices)}")
    if told:
        said = "\n".join([words, *told])
        record_nonconforming_step(by=by, at=now(), work=work, step=NonconformingAct.NOTIFY, text=said)
    return troubles
