"""A run of one line from readings that somebody published: standards, unknowns, a file, and its evaluation."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from labresults.actions.batches import begin_batch
from labresults.actions.delivery import receive_samples
from labresults.actions.evaluation import evaluate_run
from labresults.actions.materials import register_lot, register_material
from labresults.actions.methods import add_method_version, save_layout
from labresults.actions.readings import import_readings
from labresults.actions.runs import plan_run
from labresults.actions.weighings import Weighed, record_weighings
from labresults.models import Evaluation, Layout, Material, MethodVersion, Person, Run
from labresults.readers.delivery import DeliveredSample
from labresults.readers.layout import Layout as LayoutSpecification
from labresults.readers.layout import Shape
from labresults.terms import BlankRule, Curve, MaterialKind, Role, SolutionKind, Weighting
from tests.builders import NOW, Laboratory

ADDED_MG_PER_L = 1000.0
"""Of the solution that additions at the instrument are made with."""


@dataclass(frozen=True)
class PublishedRun:
    """Readings of standards and unknowns, each a list of replicates.

    concentrations: of the standards, one a reading; mg_per_L: of one published unit of concentration, which lots carry
    in `unit` as `per_unit`. line: element, label and what else of the method's line differs from an unweighted straight
    line. code: of the method. additions: what is added to each unknown at the instrument, mg/L in the solution, and the
    readings of it, which follow those of the unknown.
    """

    concentrations: Sequence[float]
    standards: Sequence[Sequence[float]]
    unknowns: Sequence[Sequence[float]]
    unit: str
    per_unit: float
    mg_per_L: float
    line: Mapping[str, object] = field(default_factory=lambda: {"element": "Cd", "label": "228.802"})
    code: str = "PL-1"
    additions: Sequence[tuple[float, Sequence[float]]] = ()

    @property
    def line_name(self) -> str:
        return f"{self.line['element']} {self.line['label']}"


def evaluated(lab: Laboratory, published: PublishedRun) -> Evaluation:
    """The run of these readings, planned, its file taken and evaluated."""
    run = _a_run(lab, _a_method(lab, published), published)
    analyst = lab.people["analyst"]
    import_readings(
        by=analyst, at=NOW, run=run, content=_a_file(run, published), filename="signals.csv", layout=_layout(lab)
    )
    return evaluate_run(by=analyst, at=NOW, run=run)


def _layout(lab: Laboratory) -> Layout:
    specification = LayoutSpecification(
        name="signals", version=1, shape=Shape.LONG, unit="1", position="place", label="name", line="line",
        replicates=("signal {n}",),
    )  # fmt: skip
    known = Layout.objects.filter(name="signals").first()
    return known or save_layout(by=lab.people["analyst"], at=NOW, specification=specification)


def _a_method(lab: Laboratory, published: PublishedRun) -> MethodVersion:
    """A standard solution for each different concentration, read as often as published."""
    quality = lab.people["quality manager"]
    element = str(published.line["element"])
    for x in sorted(set(published.concentrations)):
        _a_standard(quality, f"{element}-{x:g}", element, x * published.per_unit, published.unit)
    if published.additions:
        _a_standard(quality, f"{element}-ADD", element, ADDED_MG_PER_L, "mg/L")
    top = max(published.concentrations) * published.mg_per_L
    return add_method_version(
        by=quality,
        at=NOW,
        code=published.code,
        title="Published readings",
        area="food and agriculture",
        valid_from=NOW.date(),
        version={
            "what_was_done": "read as it is",
            "dissolution": "none",
            "solution_kind": SolutionKind.VOLUME_IN_VOLUME,
            "solution_unit": "mg/L",
            "signal_unit": "1",
            "blank_rule": BlankRule.JUDGE,
            "weights_edition": "CIAAW 2024",
            "uncertainty_basis": "published",
            "by_additions": bool(published.additions),
        },
        matrices=["soil"],
        lines=[
            {
                "rank": 1, "curve": Curve.LINE, "weighting": Weighting.NONE, "range_top": top,
                "detection_limit": top / 1000, "quantification_limit": top / 300, "u_floor": 0.0, "u_relative": 0.05,
                **published.line,
            }
        ],
        determinations=[{"element": element, "unit": "mg/L"}],
        criteria=[],
        standards=[f"{element}-{x:g}" for x in published.concentrations],
        controls=[
            {
                "role": Role.STANDARD_ADDITION, "material": f"{element}-ADD", "every": 1,
                "spike_mL": 10.0 * added / ADDED_MG_PER_L, "made_up_mL": 10.0,
            }
            for added, _ in published.additions
        ],
    )  # fmt: skip


def _a_standard(quality: Person, code: str, element: str, value: float, unit: str) -> None:
    """A solution and its lot, unless it is there."""
    if Material.objects.filter(code=code).exists():
        return
    material = register_material(by=quality, at=NOW, code=code, name=f"solution {code}", kind=MaterialKind.STANDARD)
    register_lot(
        by=quality, at=NOW, number=f"L-{4000 + Material.objects.count()}", material=material, received_on=NOW.date(),
        expires_on=NOW.date(), contents=[{"element": element, "value": value, "unit": unit}],
    )  # fmt: skip


def _a_run(lab: Laboratory, version: MethodVersion, published: PublishedRun) -> Run:
    """Standards as published, then the unknowns, each a sample whose solution was neither made up nor diluted."""
    submission = receive_samples(
        by=lab.people["reception"], at=NOW, client=lab.client, methods=[version.method],
        rows=[DeliveredSample(n, f"unknown {n}", "soil", delivered_mL="400")
              for n, _ in enumerate(published.unknowns, 1)],
    )  # fmt: skip
    preparer = lab.people["preparer"]
    batch = begin_batch(
        by=preparer, at=NOW, method_version=version, caution_read=True,
        samples=list(submission.samples.order_by("ordinal")),
    )  # fmt: skip
    portions = list(batch.portions.order_by("tube"))
    record_weighings(
        by=preparer, at=NOW, batch=batch,
        rows=[Weighed(portion.label, aliquot_mL=332.0, volume_mL=332.0) for portion in portions],
    )  # fmt: skip
    return plan_run(
        by=lab.people["analyst"], at=NOW, method_version=version, portions=portions, instrument=lab.spectrometer,
        reason="a published calibration as it stands, wherever its lowest standard lies",
    )  # fmt: skip


def _a_file(run: Run, published: PublishedRun) -> bytes:
    """A row for each position: its signals as published, the cells of further replicates left empty."""
    of_additions = [readings for _, readings in published.additions]
    unknowns = [each for unknown in published.unknowns for each in (unknown, *of_additions)]
    signals = [list(each) for each in [*published.standards, *unknowns]]
    most = max(len(each) for each in signals)
    rows = [["place", "name", "line", *(f"signal {n}" for n in range(1, most + 1))]]
    for position, values in zip(run.positions.order_by("number"), signals, strict=True):
        cells = [repr(value) for value in values] + [""] * (most - len(values))
        rows.append([str(position.number), position.label, published.line_name, *cells])
    return "\n".join(",".join(row) for row in rows).encode()
