"""The plan of a run while it is made: what is marked, the list in its order, and what the pressed button asks for."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any
from uuid import uuid4

from django.http import HttpRequest

from labresults.actions.runs import plan_run
from labresults.acts import BadInput
from labresults.queries import run_edits, run_pages, run_planning
from labresults.queries.run_order import Plan, RunList, run_list_of
from labresults.queries.run_places import Place
from labresults.web.acting import attempt
from labresults.web.forms.run_plans import PlanForm


@dataclass(frozen=True)
class Shown:
    """A place as the page shows it, with the rules that are broken there; `begins`: a calibration block."""

    place: Place
    broken: list[str]
    begins: bool

    @property
    def dilution(self) -> str:
        """The factor at the instrument, for looking at; nothing for 1."""
        return "" if self.place.dilution == 1.0 else f"{self.place.dilution:.5g}"

    @property
    def cup(self) -> str:
        """Rack and cup, or nothing where there is none."""
        return f"{self.place.rack}:{self.place.cup:02d}" if self.place.cup else ""


class PlanDesk:
    """One plan as the page holds it."""

    def __init__(self, request: HttpRequest, now: datetime) -> None:
        self.request, self.posted, self.now = request, request.POST, now
        asked = request.GET
        replaced = asked.get("replaces", "")
        self.again = asked.get("again", "")
        self.replaces = run_pages.find_run(replaced) if replaced else None
        code = asked.get("method", "") or run_pages.method_of(self.again or replaced)
        self.version = run_planning.version_for(code, now.date())
        self.form = self._form(code)
        self.step = self.posted.get("step", "")
        self.is_part = "HX-Request" in request.headers
        self.trouble = ""
        self.list_is_new = False
        self.plan = self._plan()
        self.run_list = self._listed() if self.plan else None

    def _form(self, code: str) -> PlanForm:
        only = bool(self.again or self.replaces)
        again = run_planning.held_by(self.replaces) if self.replaces else run_planning.wanted_again(code, self.again)
        initial: dict[str, Any] = {"form_key": uuid4().hex}
        if self.replaces:
            initial["instrument"] = self.replaces.instrument_id
        batches = run_planning.ready_batches(self.version, again, self.now, only=only)
        return PlanForm(self.posted or None, batches=batches, initial=initial)

    def do(self) -> Any:
        """Plan the run where that was asked for; None when something else was, or it was refused."""
        is_asked = self.step == "plan" or (not self.step and not self.is_part)
        if not (self.posted and is_asked and self.form.is_valid() and self.plan):
            return None
        if self.list_is_new and self.posted.get("order"):
            self.trouble = "What is marked has changed, so the list was made anew. Look at it, then plan the run."
            return None
        given = self.form.cleaned_data
        done = partial(
            plan_run, by=self.request.user, at=self.now, reason=given["reason"], method_version=self.version,
            portions=self.plan.portions, instrument=given["instrument"], dilutions=self.plan.dilutions,
            causes=self.plan.causes, kinds=self.plan.kinds, beside=self.plan.beside, order=self.plan.order,
            replaces=self.replaces, form_key=given["form_key"],
        )  # fmt: skip
        return attempt(self.request, done, "Run {} is planned. Take its run list to the instrument.")

    def earlier(self) -> Any:
        """The run that this form was planned as already, or None."""
        return run_planning.planned_with(self.posted.get("form_key", "")) if self.posted else None

    def context(self) -> dict[str, Any]:
        """What the page shows."""
        places = self.run_list.places if self.run_list else []
        broken = self.run_list.broken if self.run_list else ()
        tray = self.plan.tray if self.plan else None
        return {
            "form": self.form,
            "version": self.version,
            "again": self.again,
            "replaces": self.replaces,
            "trouble": self.trouble,
            "shown": _shown(places, broken),
            "order": " ".join(str(place.key) for place in places),
            "broken": broken,
            "held": [(count, role) for role, count in Counter(str(place.role) for place in places).items()],
            "tray": tray.in_words() if tray else "",
            "insertable": self.run_list.insertable if self.run_list else [],
            "list_is_new": self.list_is_new and bool(self.posted.get("order")),
            "cautions": {"hazards": run_planning.cautions(self.version)},
            "address": self.request.get_full_path(),
        }

    def _plan(self) -> Plan | None:
        """What is asked for now; None while nothing is marked, or there is no instrument."""
        instrument = self.form.chosen_instrument
        if not (self.form.marked and instrument):
            return None
        return Plan(
            version=self.version,
            portions=[row.portion for row in self.form.marked],
            instrument=instrument,
            dilutions=self.form.dilutions(),
            causes=self.form.causes(),
            kinds=self.form.kinds(),
            beside=self.form.beside(),
            order=self._order(),
            replaces=self.replaces,
        )

    def _order(self) -> tuple[str, ...] | None:
        """The list as it was sent, with what the pressed button changes; None: as proposed."""
        order = run_edits.listed(self.posted.get("order", ""))
        if self.step == "anew" or not run_edits.is_of(order, [row.portion.pk for row in self.form.marked]):
            self.list_is_new = True
            return None
        return run_edits.edited(order, self.posted.getlist("at"), self.step, self.posted)

    def _listed(self) -> RunList | None:
        try:
            return run_list_of(self.plan, self.now) if self.plan else None
        except BadInput as refusal:
            self.trouble = str(refusal)
            return None


def _shown(places: Sequence[Place], broken: Sequence[Any]) -> list[Shown]:
    """Each place with the rules that are broken there."""
    said: dict[int, list[str]] = {}
    for rule in broken:
        if rule.place:
            said.setdefault(rule.place, []).append(rule.words)
    befores: list[Place | None] = [None, *places]
    return [
        Shown(place, said.get(place.number, []), before is not None and before.block != place.block)
        for before, place in zip(befores, places, strict=False)
    ]
