"""Runs are planned with the control samples that the method asks for."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from labresults import bulk
from labresults.actions.numbering import next_number
from labresults.acts import BadInput, Done, WrongState, act, require_task
from labresults.calculation.sequence import BrokenRule
from labresults.models import (
    DiscardedPortion,
    Equipment,
    MethodVersion,
    Person,
    Position,
    Run,
    TestPortion,
    Weighing,
)
from labresults.queries.materials import in_words, refuse_expired, refuse_overdue
from labresults.queries.run_order import Plan, RunList, run_list_of
from labresults.queries.run_places import Place
from labresults.queries.run_planning import planned_with
from labresults.terms import Repeat, Role, Task

POSITION_COLUMNS = (
    "run", "number", "block", "role", "label", "lot", "portion", "parent", "dilution", "repeat_cause", "repeat", "rack",
    "cup", "added_lot", "added_mL", "made_up_mL",
)  # fmt: skip


@act("plan_run")
def plan_run(
    *,
    by: Person,
    at: datetime,
    reason: str,
    method_version: MethodVersion,
    portions: Sequence[TestPortion],
    instrument: Equipment,
    dilutions: Mapping[int, float] | None = None,
    causes: Mapping[int, str] | None = None,
    kinds: Mapping[int, Repeat] | None = None,
    beside: Mapping[int, frozenset[Role]] | None = None,
    order: Sequence[str] | None = None,
    replaces: Run | None = None,
    form_key: str = "",
) -> Done[Run]:
    """Plan a run: calibration, the checks that the method asks for at their places, and the test solutions.

    dilutions, causes, kinds: by key of the portion: made at the instrument; why it is measured again, recorded before
    it is read (else the reason); and how. beside: roles of control samples that are made of it once more. order: the
    run list as keys (`calculation.run_proposal`); None: as proposed.
    replaces: a run that nothing was read of, which this one stands in place of. form_key: the same a second time plans
    nothing. Raises BadInput for portions that cannot be measured, no valid lot, an overdue instrument that nobody
    allowed, a repeat without a cause, or a rule of the run list that is broken without a reason; WrongState for a form
    that was planned already, or a run that cannot be replaced. About 30 queries, whatever the size of the run.
    """
    require_task(by, Task.MEASURE, method_version.method, at.date())
    _refuse_again(form_key, replaces, method_version)
    held = _loaded(portions)
    _refuse_bad_portions(method_version, held)
    overrides = refuse_overdue(instrument, at.date())
    given = {portion.pk: reason for portion in held} | {key: words for key, words in (causes or {}).items() if words}
    plan = Plan(method_version, held, instrument, dilutions or {}, given, kinds or {}, beside or {}, order, replaces)
    run_list = run_list_of(plan, at)
    _refuse_bad_list(plan, run_list, reason)
    overrides += refuse_expired(list({lot.pk: lot for p in run_list.places for lot in _lots(p)}.values()), at.date())
    run = Run.objects.create(
        number=next_number("R", at),
        method_version=method_version,
        instrument=instrument,
        replaces=replaces,
        form_key=form_key or None,
        made_by=by,
        made_at=at,
    )
    _enter(run, run_list.places)
    return Done(
        run,
        subject=("run", run.number),
        after=_said(plan, run_list) | {"overrides": [in_words(override) for override in overrides]},
    )


def _refuse_again(form_key: str, replaces: Run | None, version: MethodVersion) -> None:
    earlier = planned_with(form_key)
    if earlier:
        raise WrongState(f"This form is planned already, as {earlier}. Nothing was planned again.")
    if replaces is None:
        return
    later = Run.objects.filter(replaces=replaces).first()
    if later:
        raise WrongState(f"{replaces} was replaced already, by {later}. Plan that one anew.")
    if replaces.files.exists() or replaces.readings.exists():
        raise WrongState(f"{replaces} has readings: it stands. What must be measured again is a run of its own.")
    if replaces.method_version.method_id != version.method_id:
        raise BadInput(f"{replaces} is a run by {replaces.method_version.method}: plan one by the same method.")


def _loaded(portions: Sequence[TestPortion]) -> list[TestPortion]:
    """The portions in their order, each with what the list needs of it; one query."""
    if not portions:
        raise BadInput("A run needs at least one test solution.")
    rows = TestPortion.objects.select_related("batch__method_version", "lot__material")
    found = rows.in_bulk([portion.pk for portion in portions])
    return [found[key] for key in dict.fromkeys(portion.pk for portion in portions)]


def _refuse_bad_portions(version: MethodVersion, portions: Sequence[TestPortion]) -> None:
    gone = DiscardedPortion.objects.filter(portion__in=portions).order_by("pk").values_list("portion__label", flat=True)
    if gone:
        raise BadInput(f"Discarded: {', '.join(gone[:5])}. Plan the portion that was taken instead.")
    foreign = [p.label for p in portions if p.batch.method_version.method_id != version.method_id]
    if foreign:
        raise BadInput(f"Prepared by another method: {', '.join(foreign[:5])}.")
    weighed = set(Weighing.objects.filter(portion__in=portions).values_list("portion_id", flat=True))
    missing = [p.label for p in portions if p.pk not in weighed]
    if missing:
        raise BadInput(f"Nothing is recorded yet of {', '.join(missing[:5])}: mass and volume first.")


def _refuse_bad_list(plan: Plan, run_list: RunList, reason: str) -> None:
    """A repeat has its cause before it is read; a broken rule is mended, or stands with a reason."""
    listed = {place.key.number for place in run_list.places if place.key.kind == "p"}
    left = [portion.label for portion in plan.portions if portion.pk not in listed]
    if left:
        raise BadInput(f"Marked, and not in the run list: {', '.join(left[:5])}. Make the list anew.")
    blind = [p.label for p in plan.portions if p.pk in run_list.repeated and not plan.causes.get(p.pk)]
    if blind:
        named = ", ".join(blind)[:80]
        raise BadInput(f"Read before, or diluted at the instrument: {named}. Give the cause before it is measured.")
    barred = [rule for rule in run_list.broken if rule.must]
    if barred:
        raise BadInput(_first_of(barred), tuple(str(rule) for rule in barred[1:]))
    if run_list.broken and not reason.strip():
        count = len(run_list.broken)
        said = "A rule of the run list is broken" if count == 1 else f"{count} rules of the run list are broken"
        raise BadInput(
            f"{said}. Mend the list, or give a reason that goes on record.",
            tuple(str(rule) for rule in run_list.broken),
        )


def _first_of(broken: Sequence[BrokenRule]) -> str:
    more = f" ({len(broken) - 1} more cannot stand either.)" if len(broken) > 1 else ""
    return f"{broken[0]}{more}"


def _lots(place: Place) -> list[Any]:
    """The lots that a place needs of those that are kept at the instrument; a reference material was weighed before."""
    return [lot for lot in (place.lot, place.added_lot) if lot] if place.key.kind != "p" else []


def _enter(run: Run, places: Sequence[Place]) -> None:
    """Enter the positions, each after the one that it is compared with: a row is never changed."""
    keys: dict[int, int] = {}
    waiting = list(places)
    while waiting:
        ready = [place for place in waiting if place.parent is None or place.parent.number in keys]
        bulk.insert(Position, POSITION_COLUMNS, [_row(run, place, keys) for place in ready])
        waiting = [place for place in waiting if not (place.parent is None or place.parent.number in keys)]
        if waiting:
            keys = dict(run.positions.values_list("number", "pk"))


def _row(run: Run, place: Place, keys: Mapping[int, int]) -> tuple[Any, ...]:
    """A position in the order of `POSITION_COLUMNS`."""
    return (
        run.pk,
        place.number,
        place.block,
        str(place.role),
        place.label,
        place.lot.pk if place.lot else None,
        place.portion.pk if place.portion else None,
        keys[place.parent.number] if place.parent else None,
        place.dilution,
        place.repeat_cause,
        str(place.repeat),
        place.rack,
        place.cup,
        place.added_lot.pk if place.added_lot else None,
        place.added_mL,
        place.made_up_mL,
    )


def _said(plan: Plan, run_list: RunList) -> dict[str, Any]:
    """What the record says of a plan: the list, whether a person changed its order, and the rules that it breaks."""
    places = run_list.places
    said: dict[str, Any] = {
        "method": str(plan.version),
        "instrument": plan.instrument.code,
        "positions": [[p.number, str(p.role), p.label, p.lot.number if p.lot else None] for p in places],
        "as proposed": run_list.proposed,
        "broken rules": [str(rule) for rule in run_list.broken],
    }
    repeats = [[p.number, str(p.repeat), p.repeat_cause] for p in places if p.repeat != Repeat.NONE or p.repeat_cause]
    if repeats:
        said["repeats"] = repeats
    if plan.replaces:
        said["in place of"] = plan.replaces.number
    return said
