"""What the invented laboratory agreed on for its certificates: reporting rules, and the files of its clients."""

import json
from collections.abc import Mapping
from datetime import datetime

from labresults.models import Client, Method, Person
from reports.actions.delivery import register_recipient, save_delivery_layout
from reports.actions.rule_sets import choose_rule_set, save_rule_set
from reports.delivery import DeliveryLayout
from reports.demo.data import read
from reports.models import RuleSetVersion
from reports.rules.ruleset import EDITION, RuleSet

RULES = RuleSet(name="R2", version=1)
"""Three figures, no finer than the detection limit, half to even (the method page of the laboratory shows it)."""


def save_rules(by: Person, at: datetime) -> RuleSetVersion:
    """Save the rules of the laboratory and those of single methods, and choose these; return the laboratory's own."""
    own = save_rule_set(by=by, at=at, rule_set=RULES)
    choose_rule_set(by=by, at=at, reason="for everything that has no rules of its own", name=RULES.name)
    for raw in read("laboratory")["rule_sets"]:
        said = {name: value for name, value in raw.items() if name != "method"}
        save_rule_set(by=by, at=at, rule_set=RuleSet.from_json(json.dumps(said | {"version": 1, "edition": EDITION})))
        choose_rule_set(
            by=by, at=at, reason="agreed with those who read them", name=raw["name"],
            method=Method.objects.get(code=raw["method"]),
        )  # fmt: skip
    return own


def agree_on_files(by: Person, at: datetime, clients: Mapping[str, Client]) -> None:
    """Enter the layouts that clients asked for, and who of them is told of certificates."""
    for raw in read("laboratory")["client_layouts"]:
        said = {name: value for name, value in raw.items() if name != "client"}
        layout = DeliveryLayout.from_json(json.dumps(said))
        save_delivery_layout(by=by, at=at, client=clients[raw["client"]], layout=layout)
    for raw in read("laboratory")["recipients"]:
        said = {name: value for name, value in raw.items() if name != "client"}
        register_recipient(by=by, at=at, client=clients[raw["client"]], **said)
