"""A planned run as the invented instrument meets it: what truly stands at each place, by the records of its making.

Reads the database and writes nothing. The true contents come from truth.toml, never from a result.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

from labresults.models import Content, Position, Run, Sample, Weighing
from labresults.queries.mass_losses import moisture_of_samples
from labresults.terms import Role, SolutionKind
from reports.demo.bench import TO_SOLUTION_BASE, MadeUp, solution
from reports.demo.data import read
from reports.demo.instrument import Disturbance, Instrument, Measured, Place, ReadLine, measure
from reports.demo.truth import Population, between, contents, named, of_portion

LIT_AFTER = timedelta(minutes=20)
"""From planning to the first place."""


@dataclass(frozen=True)
class TrueSample:
    """What a sample truly holds, by element, in the unit of its population; `uptake` of its solution [1]."""

    content: Mapping[str, float]
    uptake: float = 1.0


def true_samples(population_name: str, samples: list[Sample], scatter_seed: int) -> dict[int, TrueSample]:
    """Return what each sample of a delivery truly holds, by its key. The samples stand in the order of delivery."""
    population = Population.from_file(read("truth")["populations"][population_name])
    return {
        sample.pk: TrueSample(
            content, 1 + between(population.uptake, f"uptake {population_name} {ordinal}", scatter_seed)
        )
        for ordinal, (sample, content) in enumerate(
            zip(samples, contents(population, len(samples), scatter_seed), strict=True), start=1
        )
    }


def readings_of(run: Run, truth: Mapping[int, TrueSample], measurement: str) -> Measured:
    """Let the instrument read a run. measurement: the name under which truth.toml says what goes wrong in it."""
    said = read("truth")
    faults = [fault for fault in said["faults"] if fault["measurement"] == measurement]
    places = _Bench(run, truth, faults).places()
    measured = measure(
        Instrument(**said["instrument"]),
        places,
        _lines(run),
        seed=(said["seed"], named(measurement)),
        disturbances=_disturbances(run, faults, len(places)),
    )
    return replace(measured, run=run.number, begun=run.made_at + LIT_AFTER)


def _disturbances(run: Run, faults: list[dict[str, Any]], places: int) -> list[Disturbance]:
    """What goes wrong in the plasma: over the places that a fault names, over the whole run, or at one sample."""
    found = []
    for fault in faults:
        line, factor = fault.get("line", ""), fault.get("factor", 1.0)
        if fault["what"] == "sensitivity":
            found.append(Disturbance(line, *fault["places"], factor))
        elif fault["what"] == "drift":
            found.append(Disturbance(line, 1, places, factor, grows=True))
        elif fault["what"] in ("overlap", "bubble"):
            ordinal, replicate = fault["of_ordinal"], 0 if fault["what"] == "bubble" else None
            place = run.positions.get(portion__subsample__sample__ordinal=ordinal, role=Role.SAMPLE).number
            found.append(Disturbance(line, place, place, factor, replicate=replicate))
    return found


def _lines(run: Run) -> list[ReadLine]:
    rows = run.method_version.lines.select_related("line").order_by("line__wavelength_nm")
    return [
        ReadLine(
            str(row.line),
            row.line.element_id,
            row.range_top,
            row.detection_limit,
            row.interferences,
            row.carry_over is not None,
        )
        for row in rows
    ]


class _Bench:
    """Knows what was weighed and made up for one run, and finds what each solution holds."""

    def __init__(self, run: Run, truth: Mapping[int, TrueSample], faults: list[dict[str, Any]]) -> None:
        self._version = run.method_version
        self._kind = SolutionKind(self._version.solution_kind)
        self._truth = truth
        self._faults = faults
        self._seed = read("truth")["seed"]
        self._scatter = read("truth")["bench"]["portion_scatter"]
        self._positions = list(
            run.positions.select_related(
                "lot", "portion__batch", "portion__subsample__sample", "portion__lot"
            ).order_by("number")
        )
        portions = {p.portion_id for p in self._positions if p.portion_id}
        rows = Weighing.objects.filter(portion__in=portions).order_by("version")
        self._weighings = {row.portion_id: row for row in rows}
        nodes = {p.portion.subsample.sample_id for p in self._positions if p.portion and p.portion.subsample}
        self._moistures = moisture_of_samples(nodes)
        self._batches = sorted({p.portion.batch.number for p in self._positions if p.portion})

    def places(self) -> list[Place]:
        return [
            Place(position.number, position.label, self._holds(position), self._uptake(position))
            for position in self._positions
        ]

    def _uptake(self, position: Position) -> float:
        node = position.portion.subsample if position.portion else None
        if node is None:
            return 1.0
        uptake = self._truth[node.sample_id].uptake
        for fault in self._faults:
            if fault["what"] == "uptake" and node.sample.ordinal == fault["of_ordinal"]:
                uptake *= fault["factor"]
        return uptake

    def _holds(self, position: Position) -> dict[str, float]:
        if position.portion is None:
            return _contents(position.lot_id, "") if position.lot_id else {}
        weighing = self._weighings[position.portion_id]
        added = self._added(position, weighing)
        moisture = self._moisture(position, weighing) / 100
        own_water_mL = (weighing.mass_g or 0.0) * moisture if self._version.is_extraction else 0.0  # 1 g is 1 mL
        made = MadeUp(
            kind=self._kind,
            mass_g=weighing.mass_g,
            volume_mL=weighing.volume_mL + own_water_mL if weighing.volume_mL else None,
            aliquot_mL=weighing.aliquot_mL,
            solvent_g=weighing.solvent_g,
            dilution=weighing.dilution * position.dilution,
            dry=1 - moisture,
            added_mg=added,
        )
        held = solution(self._portion_content(position), made)
        if position.added_lot_id:
            share = position.added_mL / position.made_up_mL
            for element, content in _contents(position.added_lot_id, "").items():
                held[element] = held.get(element, 0.0) + content * share
        return held

    def _moisture(self, position: Position, weighing: Weighing) -> float:
        """Loss on drying of what was weighed, %; nothing where it was never dried."""
        node = position.portion.subsample
        dried = self._moistures.get((node.sample_id, weighing.state)) if node else None
        return dried.loss_percent if dried else 0.0

    def _portion_content(self, position: Position) -> Mapping[str, float]:
        portion = position.portion
        if portion.role == Role.METHOD_BLANK:
            return {}
        if portion.subsample is None:
            return _contents(portion.lot_id, self._version.dissolution)
        content = self._truth[portion.subsample.sample_id].content
        held = of_portion(content, f"{portion.batch.number} {portion.label}", self._scatter, self._seed)
        if portion.role != Role.DUPLICATE:
            return held
        for fault in self._faults:
            if fault["what"] == "duplicate" and portion.subsample.sample.ordinal == fault["of_ordinal"]:
                held = {**held, fault["element"]: held[fault["element"]] * fault["factor"]}
        return held

    def _added(self, position: Position, weighing: Weighing) -> dict[str, float]:
        """What came into the portion beside the sample, mg: the spike, and what it was contaminated with."""
        added: dict[str, float] = {}
        batch = self._batches.index(position.portion.batch.number) + 1
        if weighing.spike_lot_id:
            solution_mg_per_mL = {e: c / 1000 for e, c in _contents(weighing.spike_lot_id, "").items()}
            added = {element: c * (weighing.spike_mL or 0.0) for element, c in solution_mg_per_mL.items()}
        for fault in self._faults:
            if fault.get("batch") != batch:
                continue
            element = fault["element"]
            if fault["what"] == "spike" and element in added:
                added[element] *= fault["factor"]
            if fault["what"] == "contamination":
                added[element] = added.get(element, 0.0) + fault["mg"]
        return added


def _contents(lot_id: int, dissolution: str) -> dict[str, float]:
    """What a lot holds by its certificate, mg/kg or mg/L: the invented lots hold what they say."""
    rows = Content.objects.filter(lot=lot_id, dissolution=dissolution)
    return {row.element_id: row.value * TO_SOLUTION_BASE[row.unit] for row in rows}
