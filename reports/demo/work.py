"""What the people of the invented laboratory do at their stations, through the same actions as real work."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from labresults.actions.asking import AcceptedConcern
from labresults.actions.batches import begin_batch
from labresults.actions.delivery import receive_samples
from labresults.actions.derived import define_sample_set
from labresults.actions.evaluation import accept_control, evaluate_run
from labresults.actions.mass_losses import record_mass_losses
from labresults.actions.readings import import_readings
from labresults.actions.review import approve_results
from labresults.actions.runs import plan_run
from labresults.actions.weighings import Weighed, record_weighings
from labresults.models import (
    ControlOutcome,
    Equipment,
    Evaluation,
    Lot,
    Method,
    MethodVersion,
    PreparationBatch,
    Result,
    Run,
    Sample,
    Submission,
    TestPortion,
)
from labresults.queries.derived import newest_definitions
from labresults.queries.failures import failures_of
from labresults.queries.methods import current_versions
from labresults.queries.request_review import review
from labresults.queries.results import newest_decisions, newest_selections
from labresults.readers.delivery import DeliveredSample
from labresults.terms import Basis, Decision, MassLossKind, Role, SolutionKind, State, WayIn
from reports.demo.data import read
from reports.demo.drying import dishes
from reports.demo.files import A_PLACE, FORMS
from reports.demo.load import Founded
from reports.demo.measuring import TrueSample, readings_of, true_samples
from reports.demo.truth import about

LAYOUT_OF = {
    "OIL-2": "workbook",
    "PLANT-10": "workbook",
    "SD-18": "wide, units and times",
    "WW-2": "wide, decimal commas",
}
"""By method, the form of its file where it is not the long one."""

INSTRUMENT_OF = {"SD-18": "P2", "SX-3": "P2", "SX-4": "P2"}
"""By method, the instrument where it is not the first."""


@dataclass
class Laboratory:
    """The laboratory at work, and what its samples truly hold, by the key of the sample."""

    founded: Founded
    truth: dict[int, TrueSample] = field(default_factory=dict)

    # ------------------------------------------------------------ reception

    def receive(self, name: str, at: datetime) -> Submission:
        """Log a delivery of deliveries.toml."""
        raw = read("deliveries")[name]
        methods = {method.code: method for method in Method.objects.all()}
        also = {ordinal: code for code, ordinals in raw.get("also", {}).items() for ordinal in ordinals}
        rows = [
            DeliveredSample(
                row=ordinal,
                client_identification=identification,
                matrix=raw["matrix"],
                methods=(*raw["methods"], also[ordinal]) if ordinal in also else (),
                **_delivered(raw, identification),
            )
            for ordinal, identification in enumerate(_identifications(raw), start=1)
        ]
        submission = receive_samples(
            by=self.founded.people["marlow"],
            at=at,
            client=self.founded.clients[raw["client"]],
            rows=rows,
            methods=[methods[code] for code in raw["methods"]],
            reference=raw["reference"],
            basis=Basis(raw["basis"]),
            limit_set=self.founded.limits[raw["limits"]] if "limits" in raw else None,
            condition=raw["condition"],
            sampling=raw["sampling"],
            derived=list(newest_definitions().filter(code__in=raw.get("derived", ()))),
            concerns=self._accepted(raw, rows, at),
        )
        self._define_sets(submission, raw, at)
        self.truth |= true_samples(name, list(submission.samples.order_by("ordinal")), read("truth")["seed"])
        return submission

    def _define_sets(self, submission: Submission, raw: Mapping[str, Any], at: datetime) -> None:
        """Sets of samples by their places in the delivery, each sample with its mass, kg, as the client says."""
        samples = {sample.ordinal: sample for sample in submission.samples.all()}
        for name, said in raw.get("sets", {}).items():
            define_sample_set(
                by=self.founded.people["marlow"],
                at=at + timedelta(minutes=5),
                submission=submission,
                name=name,
                members=[(samples[n], kg) for n, kg in zip(said["samples"], said["mass_kg"], strict=True)],
            )

    def _accepted(self, raw: Mapping[str, Any], rows: Sequence[DeliveredSample], at: datetime) -> list[AcceptedConcern]:
        """What the review of the request finds, each accepted with the reason given for its kind."""
        reasons = raw.get("accepted", {})
        asked = Method.objects.filter(code__in=raw["methods"])
        found = review(rows, methods=asked, at=at) if reasons else ()
        return [AcceptedConcern(one.key, reasons[one.key.split("|")[0]], tell_client=True) for one in found]

    # ------------------------------------------------------------ preparation

    def prepare(self, method: str, samples: Sequence[Sample], at: datetime) -> list[PreparationBatch]:
        """Begin as many batches as the samples need, and record what was weighed and made up, an hour later."""
        version = current_versions(at.date())[method]
        size = version.batch_size
        batches = []
        for number, first in enumerate(range(0, len(samples), size)):
            begun = at + timedelta(minutes=20 * number)
            batch = begin_batch(
                by=self.founded.people["adeyemi"],
                at=begun,
                method_version=version,
                samples=samples[first : first + size],
                caution_read=True,
                seed=read("truth")["seed"] + number,  # used where the method leaves placing to chance
                reagents=list(Lot.objects.filter(number__in=read("truth")["weighing"][method]["reagents"])),
            )
            self._weigh(batch, begun + timedelta(minutes=15))
            batches.append(batch)
        return batches

    def _weigh(self, batch: PreparationBatch, at: datetime) -> None:
        version = batch.method_version
        said = read("truth")["weighing"][version.method.code]
        portions = list(batch.portions.select_related("subsample__sample").order_by("tube"))
        record_weighings(
            by=self.founded.people["adeyemi"],
            at=at,
            batch=batch,
            balance=Equipment.objects.get(code=said["balance"]) if "balance" in said else None,
            rows=_weighed(portions, version, said),
        )

    def heat(self, samples: Sequence[Sample], at: datetime, population: str, kind: MassLossKind) -> None:
        """Record the moisture of the air-dry material, or the loss on ignition: one dish a sample."""
        oven, temperature_C = ("OV1", 105.0) if kind == MassLossKind.MOISTURE else ("MF1", 1000.0)
        record_mass_losses(
            by=self.founded.people["adeyemi"],
            at=at,
            kind=kind,
            rows=dishes(samples, population, kind),
            temperature_C=temperature_C,
            balance=Equipment.objects.get(code="B1"),
            oven=Equipment.objects.get(code=oven),
        )

    # ------------------------------------------------------------ runs

    def measure(
        self,
        measurement: str,
        portions: Sequence[TestPortion],
        at: datetime,
        *,
        dilutions: Mapping[int, float] | None = None,
        reason: str = "",
        loaded_after: timedelta = timedelta(hours=14),
    ) -> Run:
        """Plan a run, let the instrument write its file, and take the file, as it came, some hours later."""
        run = self.plan(portions, at, dilutions=dilutions, reason=reason)
        self.load(run, measurement, at + loaded_after)
        return run

    def plan(
        self,
        portions: Sequence[TestPortion],
        at: datetime,
        *,
        dilutions: Mapping[int, float] | None = None,
        reason: str = "",
    ) -> Run:
        """Plan a run on the instrument of its method."""
        version = portions[0].batch.method_version
        return plan_run(
            by=self.founded.people["roe"],
            at=at,
            reason=reason,
            method_version=version,
            portions=portions,
            instrument=Equipment.objects.get(code=INSTRUMENT_OF.get(version.method.code, "P1")),
            dilutions=dilutions,
        )

    def load(self, run: Run, measurement: str, at: datetime, way: WayIn = WayIn.BROWSER) -> None:
        """Let the instrument write the file of a run, and take it as it came."""
        layout = self.founded.layouts[LAYOUT_OF.get(run.method_version.method.code, "long, points")]
        write, ending = FORMS[layout.name]
        measured = readings_of(run, self.truth, measurement)
        import_readings(
            by=self.founded.people["roe"],
            at=at,
            run=run,
            content=write(measured),
            filename=f"{run.number}.{ending}",
            layout=layout,
            measured_from=measured.begun,
            measured_to=measured.begun + A_PLACE * len(measured.places),
            way=way,
        )

    def evaluate(self, run: Run, at: datetime) -> Evaluation:
        """Evaluate a run."""
        return evaluate_run(by=self.founded.people["roe"], at=at, run=run)

    # ------------------------------------------------------------ review

    def accept(self, results: Iterable[Result], at: datetime, reason: str, *, role: Role) -> int:
        """Accept, by name and with the reason, the failed control samples of one role that stand against results."""
        standing = failures_of(list(results)).values()
        outcomes: dict[int, ControlOutcome] = {
            outcome.pk: outcome
            for failures in standing
            for outcome in failures["open"]
            if outcome.position.role == role
        }
        if outcomes:
            accept_control(by=self.founded.people["roe"], at=at, reason=reason, outcomes=list(outcomes.values()))
        return len(outcomes)

    def approve(self, results: Sequence[Result], at: datetime) -> None:
        """Approve results, signed with the password."""
        approve_results(
            by=self.founded.people["castellane"],
            at=at,
            results=[result.pk for result in results],
            looked_at=[result.pk for result in results],
            password=self.founded.password,
        )


def selected(submission: Submission, method: str) -> list[Result]:
    """Return the results of a method that stand for a submission's samples and are not approved yet."""
    samples = list(submission.samples.values_list("pk", flat=True))
    standing = newest_selections(sample_ids=samples, method_id=Method.objects.get(code=method).pk)
    results = [selection.result for selection in standing.values()]
    decisions = newest_decisions([result.pk for result in results])
    return [
        result
        for result in results
        if result.pk not in decisions or decisions[result.pk].review.decision != Decision.APPROVE
    ]


def portions_of(batches: Sequence[PreparationBatch]) -> list[TestPortion]:
    """Return all portions of batches, in the order of their tubes."""
    return [portion for batch in batches for portion in batch.portions.select_related("batch").order_by("tube")]


def _delivered(raw: Mapping[str, Any], identification: str) -> dict[str, str]:
    """What is said of one sample of a delivery: of all of them, or of its own."""
    said = {name: str(raw[name]) for name in ("delivered_g", "delivered_mL", "sampled", "preservation") if name in raw}
    return said | raw.get("differing", {}).get(identification, {})


def _identifications(raw: Mapping[str, Any]) -> list[str]:
    if "depths" not in raw:
        return list(raw["identifications"])
    depths = raw["depths"]
    return [f"{depths['name']} {depths['first'] + metre:.1f} m" for metre in range(depths["count"])]


def _weighed(portions: Sequence[TestPortion], version: MethodVersion, said: Mapping[str, Any]) -> list[Weighed]:
    """What the preparer records of a batch. `said`: of the method, from truth.toml."""
    seed, scatter = read("truth")["seed"], read("truth")["bench"]["mass_scatter"]
    keys = [f"{portion.batch.number} {portion.label}" for portion in portions]
    is_volume = version.solution_kind == SolutionKind.VOLUME_IN_VOLUME
    masses = [None] * len(keys) if is_volume else about(said["mass_g"], scatter, said["shown_g"], keys, seed)
    return [
        Weighed(
            label=portion.label,
            volume_mL=version.volume_mL,
            aliquot_mL=said.get("aliquot_mL"),
            solvent_g=said.get("solvent_g"),
            dilution=version.dilution,
            state=State(said["state"]) if portion.subsample and "state" in said else State.AS_RECEIVED,
            **_mass(portion, mass_g, said),
        )
        for portion, mass_g in zip(portions, masses, strict=True)
    ]


def _mass(portion: TestPortion, mass_g: float | None, said: Mapping[str, Any]) -> dict[str, Any]:
    """The mass of a portion; none for a method blank; where too little was delivered, what there was, and why."""
    if portion.role == Role.METHOD_BLANK:
        return {"mass_g": None}
    if portion.role == Role.SAMPLE and portion.subsample:
        short: Mapping[str, Any] = said.get("short", {})
        return dict(short.get(portion.subsample.sample.client_identification, {"mass_g": mass_g}))
    return {"mass_g": mass_g}
