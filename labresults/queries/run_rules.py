"""The rules of a run list, as a method version, its lots and the instrument say them; see `calculation.sequence`."""

from collections.abc import Mapping, Sequence

from labresults.calculation.errors import CalculationError
from labresults.calculation.run_proposal import Control
from labresults.calculation.sequence import LineNeeds, Rules
from labresults.calculation.sequence import Place as PurePlace
from labresults.calculation.tray import Tray
from labresults.calculation.units import factor
from labresults.models import Content, Lot, MethodVersion, PlannedControl, PlannedStandard
from labresults.queries.materials import made_of
from labresults.queries.run_places import Place
from labresults.terms import Role

BATCH_CONTROLS = (Role.METHOD_BLANK, Role.CONTROL_SAMPLE, Role.REFERENCE_MATERIAL)
"""Control samples of a batch that speak for its samples only where they are measured with them."""


def control_of(row: PlannedControl) -> Control:
    """A control sample of the method version as the pure rules see it; no query where its material is loaded."""
    name = row.material.code if row.material else ""
    return Control(row.ordinal, Role(row.role), name, row.at_start, row.every, row.at_end)


def rules_of(
    version: MethodVersion,
    standards: Sequence[PlannedStandard],
    controls: Sequence[PlannedControl],
    lots: Mapping[int, Lot],
    tray: Tray | None,
) -> Rules:
    """What a run must keep; three queries. lots: to use, by material."""
    prepared = set(version.controls.filter(in_batch=True).values_list("role", flat=True))
    return Rules(
        standards={row.ordinal: f"STD {row.ordinal - standards[0].ordinal}" for row in standards},
        controls=tuple(control_of(row) for row in controls),
        batch_roles=tuple(role for role in BATCH_CONTROLS if role in prepared),
        lines=_lines(version, [lot for row in standards[1:] if (lot := lots.get(row.material_id))]),
        solution_unit=version.solution_unit,
        recalibrate_every=version.recalibrate_every,
        by_additions=version.by_additions,
        tray_places=tray.places if tray else None,
        named=tuple((str(name), value) for name, value in version.sequence_rules),
    )


def _lines(version: MethodVersion, standards: Sequence[Lot]) -> tuple[LineNeeds, ...]:
    """The lines with the lowest standard of each; that of the internal standard needs none. Two queries."""
    lowest: dict[str, float] = {}
    for content in Content.objects.filter(lot__in=standards, dissolution="", value__gt=0):
        try:
            held = content.value * float(factor(content.unit, version.solution_unit))
        except CalculationError:
            continue  # a unit that does not lead to the solution's: the line then has no standard, and that is said
        lowest[content.element_id] = min(held, lowest.get(content.element_id, held))
    rows = version.lines.select_related("line").order_by("rank", "line__element_id", "line__label")
    return tuple(
        LineNeeds(
            line=str(row.line),
            element=row.line.element_id,
            quantification_limit=row.quantification_limit,
            lowest_standard=lowest.get(row.line.element_id),
            interferents=tuple(sorted(row.interferences)),
            is_internal_standard=row.line_id == version.internal_standard_id,
        )
        for row in rows
    )


def pure_places(places: Sequence[Place]) -> list[PurePlace]:
    """The places as the pure rules see them; one query a generation of lots."""
    lots = {place.lot.pk: place.lot for place in places if place.lot}
    sources = made_of(lots.values())
    return [
        PurePlace(
            key=place.key,
            role=place.role,
            label=place.label,
            block=place.block,
            parent=place.parent.number if place.parent else None,
            lacks_parent=place.lacks_parent,
            batch=place.portion.batch.number if place.portion else "",
            is_first=place.is_first,
            lot=place.lot.number if place.lot else "",
            material=place.lot.material.code if place.lot else "",
            sources=sources[place.lot.pk] if place.lot else frozenset(),
            no_lot=place.no_lot,
        )
        for place in places
    ]
