"""What is known of the portions of a run: weighed, spiked, asked for, dried and fired; as an evaluation sees it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import Any

from django.db.models import Max, Model, OuterRef, QuerySet, Subquery

from labresults.calculation.run import Portion
from labresults.calculation.spiking import spiked_mg
from labresults.models import (
    Content,
    Evaluation,
    FireCharge,
    MassLoss,
    MethodVersion,
    Position,
    Request,
    Run,
    Sample,
    SampleCorrection,
    Submission,
    TestPortion,
    Weighing,
)
from labresults.queries.fire import SILVER_ADDED
from labresults.queries.mass_losses import moisture_of_samples
from labresults.terms import Basis, Correction, SolutionKind, State


@dataclass(frozen=True)
class Seen:
    """The newest rows that an evaluation could see, by key; 0 where there was none."""

    last_weighing: int = 0
    last_request: int = 0
    last_mass_loss: int = 0
    last_fire_charge: int = 0
    moment: datetime | None = None  # when it was made: samples that were moved since stand where they stood then

    def keys(self) -> dict[str, int]:
        """The keys by their names, as an evaluation stores them; no query."""
        return {name: value for name, value in asdict(self).items() if name != "moment"}


@dataclass(frozen=True)
class KnownPortions:
    """What the portions of a run stand on."""

    version: MethodVersion
    weighings: Mapping[int, Any]  # by portion: the newest, with what `_newest_weighings` says
    contents: Mapping[int, Mapping[str, Content]]  # by lot and element
    bases: Mapping[int, Basis]  # by sample
    moistures: Mapping[tuple[int, str], MassLoss]  # by sample and state of the material
    silver_added: frozenset[int]  # portions
    seen: Seen = field(default_factory=Seen)

    def dried(self, portion: TestPortion | None) -> MassLoss | None:
        """The drying that a portion's moisture comes from, where its weighing names none; no query."""
        if portion is None or portion.subsample is None or portion.pk not in self.weighings:
            return None
        weighing = self.weighings[portion.pk]
        if weighing.moisture_percent is not None:
            return None
        return self.moistures.get((portion.subsample.sample_id, weighing.state))

    def portion(self, position: Position) -> Portion:
        """The portion of a position as the calculation needs it; no query."""
        row = position.portion
        weighing = self.weighings[row.pk]
        sample = row.subsample.sample if row.subsample else None
        spiked = self.contents.get(weighing.spike_lot_id, {}) if weighing.spike_lot_id else {}
        return portion_of(
            row,
            weighing,
            self.version,
            spiked,
            self.bases.get(sample.pk) if sample else None,
            dried=self.dried(row),
            refused={"Ag": SILVER_ADDED} if row.pk in self.silver_added else {},
        )


def known_portions(run: Run, positions: Sequence[Position], seen: Seen | None = None) -> KnownPortions:
    """Everything that the portions stand on; four queries. seen: nothing later than that, else all."""
    version = run.method_version
    weighings = _newest_weighings(positions, seen)
    samples = _samples(positions, weighings)
    requests, bases = _requests(samples, seen)
    moistures = _moistures(positions, weighings, seen)
    return KnownPortions(
        version=version,
        weighings=weighings,
        contents=_contents(positions, weighings, version),
        bases=bases,
        moistures=moistures,
        silver_added=frozenset(key for key, weighing in weighings.items() if weighing.silver),
        seen=Seen(
            last_weighing=_last(weighings.values()),
            last_request=max(requests, default=0),
            last_mass_loss=_last(moistures.values()),
            last_fire_charge=max((row.charge or 0 for row in weighings.values()), default=0),
        ),
    )


def seen_by(evaluation: Evaluation) -> Seen:
    """What an evaluation could see; no query."""
    return Seen(
        evaluation.last_weighing,
        evaluation.last_request,
        evaluation.last_mass_loss,
        evaluation.last_fire_charge,
        evaluation.made_at,
    )


def newest_keys(run: Run) -> tuple[int, ...]:
    """Newest keys of all that an evaluation of a run stands on and that may still grow: files of readings, weighings,
    requests, dryings and crucibles of its portions; five queries. Two that are alike: nothing came in between.
    """
    samples = Sample.objects.filter(subsamples__portions__positions__run=run)
    portions = TestPortion.objects.filter(positions__run=run)
    grown: tuple[QuerySet[Any], ...] = (
        run.files.all(),
        Weighing.objects.filter(portion__in=portions),
        Request.objects.filter(submission__in=samples.values("submission")),
        MassLoss.objects.filter(subsample__sample__in=samples),
        FireCharge.objects.filter(portion__in=portions),
    )
    return tuple(rows.order_by().aggregate(newest=Max("pk"))["newest"] or 0 for rows in grown)


def portion_of(
    portion: TestPortion,
    weighing: Weighing,
    version: MethodVersion,
    spiked: Mapping[str, Content],
    basis: Basis | None,
    *,
    dried: MassLoss | None = None,
    refused: Mapping[str, str] | None = None,
) -> Portion:
    """A portion as the calculation needs it: with what was weighed of it, spiked into it and asked for; no query.

    spiked: contents of the spiking lot by element. dried: the moisture of the state that was weighed, for a
    weighing that names none. refused: why it can say nothing of an element. Its batch and sample are loaded with it.
    """
    sample = portion.subsample.sample if portion.subsample else None
    moisture = weighing.moisture_percent
    if moisture is None and dried is not None:
        moisture = dried.loss_percent
    return Portion(
        key=portion.label,
        batch=portion.batch.number,
        kind=SolutionKind(version.solution_kind),
        mass_g=weighing.mass_g,
        volume_mL=weighing.volume_mL,
        aliquot_mL=weighing.aliquot_mL,
        solvent_g=_solution_around(weighing),
        dilution=weighing.dilution,
        state=State(weighing.state),
        moisture_percent=moisture,
        density_kg_per_L=sample.density_kg_per_L if sample else None,
        added_mg={e: spiked_mg(c.value, c.unit, weighing.spike_mL or 0.0) for e, c in spiked.items()},
        basis=basis,
        is_extraction=version.is_extraction,
        refused=refused or {},
    )


def _solution_around(weighing: Weighing) -> float | None:
    """Mass of everything in the solution but the portion, g: an internal standard added by mass belongs to it."""
    if weighing.solvent_g is None or weighing.internal_standard_g is None:
        return weighing.solvent_g
    return weighing.solvent_g + weighing.internal_standard_g


def _last(rows: Iterable[Model]) -> int:
    """The newest key of rows; 0 where there is none."""
    return max((row.pk for row in rows), default=0)


def _samples(positions: Sequence[Position], weighings: Mapping[int, Any]) -> dict[int, int]:
    """Submission of each sample in the run, by the sample's key: the one that it stood in then; no query."""
    found = {}
    for row in (position.portion for position in positions if position.portion and position.portion.subsample):
        weighing = weighings.get(row.pk)
        moved_from = getattr(weighing, "moved_from", None)
        found[row.subsample.sample_id] = moved_from or row.subsample.sample.submission_id
    return found


def _newest_weighings(positions: Sequence[Position], seen: Seen | None) -> dict[int, Any]:
    """The newest weighing of each portion, by portion; one query.

    Each with the newest crucible of its portion, `charge` (its key), and the silver that was added there, `silver`;
    `moved_from`: the submission in which its sample stood at the moment of `seen`, where it was moved since.
    """
    rows = Weighing.objects.filter(portion__in=[p.portion_id for p in positions if p.portion_id])
    charges = FireCharge.objects.filter(portion=OuterRef("portion")).order_by("-version")
    if seen is not None:
        rows = rows.filter(pk__lte=seen.last_weighing)
        charges = charges.filter(pk__lte=seen.last_fire_charge)
    if seen is not None and seen.moment is not None:
        rows = rows.annotate(moved_from=_moved_from(seen.moment))
    rows = rows.annotate(charge=Subquery(charges.values("pk")[:1]), silver=Subquery(charges.values("collector_mg")[:1]))
    return {row.portion_id: row for row in rows.order_by("version")}


def _moved_from(moment: datetime) -> Subquery:
    """Where the sample of a weighing stood before its first move after a moment; part of another query."""
    sample = OuterRef("portion__subsample__sample")
    moves = SampleCorrection.objects.filter(what=Correction.MOVED, sample=sample, made_at__gt=moment).order_by("pk")
    source = Submission.objects.filter(number=OuterRef("before")).values("pk")
    return Subquery(moves.annotate(source=Subquery(source)).values("source")[:1])


def _contents(
    positions: Sequence[Position], weighings: Mapping[int, Weighing], version: MethodVersion
) -> dict[int, dict[str, Content]]:
    """Contents by lot and element: of solutions, and as certified under the method version's dissolution."""
    lots = {lot for p in positions for lot in (p.lot_id, p.added_lot_id) if lot}
    lots |= {w.spike_lot_id for w in weighings.values() if w.spike_lot_id}
    found: dict[int, dict[str, Content]] = {}
    for row in Content.objects.filter(lot__in=lots, dissolution__in=["", version.dissolution]):
        found.setdefault(row.lot_id, {})[row.element_id] = row
    return found


def _requests(samples: Mapping[int, int], seen: Seen | None) -> tuple[list[int], dict[int, Basis]]:
    """The newest request of each submission in the run, and what it says each sample is reported on; one query.

    A sample has its own terms, else those of its submission.
    """
    rows = Request.objects.filter(submission__in=set(samples.values()))
    if seen is not None:
        rows = rows.filter(pk__lte=seen.last_request)
    newest: dict[int, tuple[int, str]] = {}
    own: dict[tuple[int, int], str] = {}
    columns = ("submission", "pk", "basis", "terms__sample", "terms__basis")
    for submission, pk, basis, sample, of_sample in rows.order_by("version").values_list(*columns):
        newest[submission] = (pk, basis)
        own[pk, sample] = of_sample
    bases = {
        sample: Basis(own.get((newest[submission][0], sample), newest[submission][1]))
        for sample, submission in samples.items()
        if submission in newest
    }
    return [pk for pk, _ in newest.values()], bases


def _moistures(
    positions: Sequence[Position], weighings: Mapping[int, Weighing], seen: Seen | None
) -> dict[tuple[int, str], MassLoss]:
    """Moisture of samples that have a weighing without one, by sample and state; at most one query."""
    wanted = {
        p.portion.subsample.sample_id
        for p in positions
        if p.portion
        and p.portion.subsample
        and p.portion_id in weighings
        and weighings[p.portion_id].moisture_percent is None
    }
    if not wanted or (seen is not None and not seen.last_mass_loss):
        return {}
    return moisture_of_samples(wanted, seen.last_mass_loss if seen else None)
