"""What an amendment would change, before it is issued."""

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from labresults.acts import WrongState
from reports.models import Certificate, RuleSetVersion
from reports.queries.pages import Group, further_of, group
from reports.queries.previews import preview

if TYPE_CHECKING:
    from labresults.models import Person


@dataclass(frozen=True)
class Amendment:
    """What the next issue would change, or why it cannot be."""

    groups: tuple[Group, ...] = ()
    count: int = 0
    is_supplement: bool = False
    reason: str = ""  # for all of it, where the record has one
    refusal: str = ""


def amendment(
    row: Certificate, *, rule_set: RuleSetVersion, preliminary: bool, by: "Person", at: datetime
) -> Amendment:
    """What amending an issue now would change, column by column, with the reasons that the record knows.

    About 25 queries.
    """
    try:
        document, _ = preview(
            submission=row.submission,
            further=further_of(row),
            rule_set=rule_set,
            by=by,
            at=at,
            preliminary=preliminary,
            replaces=row,
        )
    except WrongState as refusal:
        return Amendment(refusal=str(refusal))
    groups = group(document.changes)
    reasons = {one.reason for one in groups}
    return Amendment(
        groups=groups,
        count=len(document.changes),
        is_supplement=document.is_supplement,
        reason=reasons.pop() if len(reasons) == 1 else "",
    )
