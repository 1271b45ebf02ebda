"""Reporting rules: saved in versions, and chosen for everything, a method, a client or one submission."""

from datetime import datetime
from typing import TYPE_CHECKING

from labresults.acts import BadInput, Done, act
from reports.models import RuleSetChoice, RuleSetVersion
from reports.rules.ruleset import RuleSet

if TYPE_CHECKING:
    from labresults.models import Client, Method, Person, Submission


@act("save_rule_set")
def save_rule_set(*, by: "Person", at: datetime, reason: str, rule_set: RuleSet) -> Done[RuleSetVersion]:
    """Save a rule set as a new version. Raises BadInput when that version is there."""
    if RuleSetVersion.objects.filter(name=rule_set.name, version=rule_set.version).exists():
        raise BadInput(f"{rule_set} is there already. Save it under the next version.")
    row = RuleSetVersion.objects.create(
        name=rule_set.name, version=rule_set.version, specification=rule_set.to_json(), made_by=by, made_at=at
    )
    return Done(row, subject=("rule set", str(row)), after={"specification": row.specification})


@act("choose_rule_set")
def choose_rule_set(
    *,
    by: "Person",
    at: datetime,
    reason: str,
    name: str,
    submission: "Submission | None" = None,
    client: "Client | None" = None,
    method: "Method | None" = None,
) -> Done[RuleSetChoice]:
    """Choose the rule set of a submission, a client, a method, or (none of them) of everything; the newest stands.

    name: of the rule set, whose newest version is used; "" goes back to what stands without the choice. Certificates
    that were issued keep their rules. Raises BadInput where there is no rule set of that name, or for more than one.
    """
    chosen = [thing for thing in (submission, client, method) if thing is not None]
    if len(chosen) > 1:
        raise BadInput("Choose for one of them: a submission, a client or a method.")
    if name and not RuleSetVersion.objects.filter(name=name).exists():
        raise BadInput(f"There is no rule set {name}. Save it first.")
    if not name and not chosen:
        raise BadInput("Everything needs a rule set: choose one.")
    of = {"submission": submission, "client": client, "method": method}
    before = RuleSetChoice.objects.filter(**of).order_by("pk").last()
    row = RuleSetChoice.objects.create(rule_set_name=name, made_by=by, made_at=at, **of)
    return Done(
        row,
        subject=("choice of rules", str(chosen[0]) if chosen else "everything"),
        before={"rule set": before.rule_set_name} if before else None,
        after={"rule set": name},
    )
