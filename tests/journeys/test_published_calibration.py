"""Published calibrations with raw readings, through a run file and the acts: the printed figures come back."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import pytest

from labresults.actions.batches import begin_batch
from labresults.actions.delivery import receive_samples
from labresults.actions.evaluation import compute_again, evaluate_run
from labresults.actions.materials import register_lot, register_material
from labresults.actions.methods import add_method_version, save_layout
from labresults.actions.runs import import_readings, plan_run
from labresults.actions.weighings import Weighed, record_weighings
from labresults.models import Evaluation, MethodVersion, Result, Run
from labresults.readers.delivery import DeliveredSample
from labresults.readers.layout import Layout, Shape
from labresults.terms import BlankRule, Curve, MaterialKind, Role, SolutionKind, Weighting
from tests.builders import NOW, Laboratory
from tests.rules.published import published

CALIBRATION, REGRESSION = published("calibration"), published("regression")
CADMIUM, FLUORESCEIN = CALIBRATION["cadmium"], CALIBRATION["fluorescein"]
STRAIGHT_LINE = REGRESSION["unknown common uncertainty"]


@dataclass(frozen=True)
class Reading:
    """Signals of one unknown, and what was published for it: concentration and its standard uncertainty."""

    signals: Sequence[float]
    x0: str
    u: str


@dataclass(frozen=True)
class Case:
    """A published straight line. mg_per_L: of one published unit of concentration, carried in `unit` as `per_unit`.

    parameters: published b0, b1, their standard errors and more, by column of the stored calibration; what is missing
    was not published.
    """

    id: str
    x: Sequence[float]
    y: Sequence[float]
    unit: str
    per_unit: float
    mg_per_L: float
    parameters: dict[str, str]
    readings: Sequence[Reading]


CASES = [
    Case(
        f"{CADMIUM['title']}, {CADMIUM['year']}, {CADMIUM['where']}",
        CADMIUM["inputs"]["concentration_mg_L"],
        CADMIUM["inputs"]["absorbance"],
        unit="mg/L",
        per_unit=1.0,
        mg_per_L=1.0,
        parameters={
            "b1": CADMIUM["expected"]["B1"],
            "b0": CADMIUM["expected"]["B0"],
            "se_b1": CADMIUM["expected"]["s_B1"],
            "se_b0": CADMIUM["expected"]["s_B0"],
            "residual_sd": CADMIUM["expected"]["residual_sd_S"],  # from memory
            "r": CADMIUM["expected"]["correlation_r"],  # from memory
        },
        readings=[
            Reading(
                CADMIUM["inputs"]["sample_absorbances"],  # the leach solution, read twice
                CADMIUM["expected"]["c0"],
                CADMIUM["expected"]["u_c0"],
            )
        ],
    ),
    Case(
        f"{STRAIGHT_LINE['title']}, {STRAIGHT_LINE['year']}, {STRAIGHT_LINE['where']}",
        STRAIGHT_LINE["inputs"]["x"],
        STRAIGHT_LINE["inputs"]["y"],
        unit="mg/L",  # published without a unit
        per_unit=1.0,
        mg_per_L=1.0,
        parameters={
            "b0": STRAIGHT_LINE["expected"]["a"],
            "b1": STRAIGHT_LINE["expected"]["b"],
            "se_b0": STRAIGHT_LINE["expected"]["u_a"],
            "se_b1": STRAIGHT_LINE["expected"]["u_b"],
        },
        readings=[Reading([10.5], STRAIGHT_LINE["expected"]["x1"], STRAIGHT_LINE["expected"]["u_x1"])],
    ),
    Case(
        f"{FLUORESCEIN['title']}, {FLUORESCEIN['year']}, {FLUORESCEIN['where']}",
        FLUORESCEIN["inputs"]["x_pg_mL"],
        FLUORESCEIN["inputs"]["y"],
        unit="ug/L",
        per_unit=1e-3,  # a picogram in a millilitre is a thousandth of a microgram in a litre
        mg_per_L=1e-6,
        parameters={
            "b0": FLUORESCEIN["expected"]["intercept_a"],
            "b1": FLUORESCEIN["expected"]["slope_b"],
            "se_b1": FLUORESCEIN["expected"]["s_b"],  # from memory
            "r": FLUORESCEIN["expected"]["r"],
        },
        readings=[
            Reading([2.9], FLUORESCEIN["expected"]["x0_at_2.9"], FLUORESCEIN["expected"]["s_x0_at_2.9"]),  # from memory
            Reading([13.5], FLUORESCEIN["expected"]["x0_at_13.5"], FLUORESCEIN["expected"]["s_x0_at_13.5"]),  # memory
            Reading([23.0], FLUORESCEIN["expected"]["x0_at_23.0"], FLUORESCEIN["expected"]["s_x0_at_23.0"]),  # memory
            Reading([13.5] * 6, FLUORESCEIN["expected"]["x0_at_13.5"], FLUORESCEIN["expected"]["s_x0_at_13.5_m6"]),
        ],
    ),
]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.id)
def test_a_published_calibration_comes_back_in_its_printed_figures(lab: Laboratory, case: Case) -> None:
    evaluation = evaluated(lab, a_run_of(lab, a_method_for(lab, case), case), case)

    curve = evaluation.calibrations.get()
    assert curve.count == len(case.x)
    scale = {"b1": case.mg_per_L, "se_b1": case.mg_per_L}
    stored = {name: getattr(curve, name) * scale.get(name, 1.0) for name in case.parameters}
    assert {name: as_printed(stored[name], text) for name, text in case.parameters.items()} == case.parameters

    computed = compute_again(evaluation)
    uncertainties = [
        float(computed.evaluated.u_concentration[row, 0]) / case.mg_per_L
        for row, position in enumerate(computed.loaded.table.positions)
        if position.role == Role.SAMPLE
    ]
    results = Result.objects.filter(evaluation=evaluation, is_candidate=True).order_by("position__number")
    found = [
        (as_printed((result.value or 0.0) / case.mg_per_L, wanted.x0), as_printed(u, wanted.u))
        for result, u, wanted in zip(results, uncertainties, case.readings, strict=True)
    ]
    assert found == [(wanted.x0, wanted.u) for wanted in case.readings]


def as_printed(value: float, published_text: str) -> str:
    """The value at the decimals of what was published."""
    decimals = max(0, -int(Decimal(published_text).as_tuple().exponent))
    return f"{Decimal(repr(float(value))):.{decimals}f}"


def a_method_for(lab: Laboratory, case: Case) -> MethodVersion:
    """An unweighted straight line; a standard solution for each different concentration, read as often as published."""
    quality = lab.people["quality manager"]
    for place, x in enumerate(sorted(set(case.x))):
        material = register_material(
            by=quality, at=NOW, code=f"LEVEL-{x:g}", name=f"standard solution {x:g}", kind=MaterialKind.STANDARD
        )
        register_lot(
            by=quality, at=NOW, number=f"L-{4000 + place}", material=material,
            received_on=NOW.date(), expires_on=NOW.date(),
            contents=[{"element": "Cd", "value": x * case.per_unit, "unit": case.unit}],
        )  # fmt: skip
    top = max(case.x) * case.mg_per_L
    return add_method_version(
        by=quality,
        at=NOW,
        code="PL-1",
        title="Published straight line",
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
        },
        matrices=["soil"],
        lines=[
            {
                "element": "Cd", "label": "228.802", "rank": 1, "curve": Curve.LINE, "weighting": Weighting.NONE,
                "range_top": top, "detection_limit": top / 1000, "quantification_limit": top / 300,
                "u_floor": 0.0, "u_relative": 0.05,
            }
        ],
        determinations=[{"element": "Cd", "unit": "mg/L"}],
        criteria=[],
        standards=[f"LEVEL-{x:g}" for x in case.x],
        controls=[],
    )  # fmt: skip


def a_run_of(lab: Laboratory, version: MethodVersion, case: Case) -> Run:
    """Standards as published, then the unknowns, each a sample whose solution was neither made up nor diluted."""
    submission = receive_samples(
        by=lab.people["reception"], at=NOW, client=lab.client, methods=[version.method],
        rows=[DeliveredSample(n, f"unknown {n}", "soil", delivered_mL="400") for n, _ in enumerate(case.readings, 1)],
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
        by=lab.people["analyst"], at=NOW, method_version=version, portions=portions, instrument=lab.spectrometer
    )


def evaluated(lab: Laboratory, run: Run, case: Case) -> Evaluation:
    """The run's file read by its layout, and evaluated."""
    layout = Layout(
        name="signals", version=1, shape=Shape.LONG, unit="1", position="place", label="name", line="line",
        replicates=("signal {n}",),
    )  # fmt: skip
    analyst = lab.people["analyst"]
    import_readings(
        by=analyst, at=NOW, run=run, content=a_file(run, case), filename="signals.csv",
        layout=save_layout(by=analyst, at=NOW, specification=layout),
    )  # fmt: skip
    return evaluate_run(by=analyst, at=NOW, run=run)


def a_file(run: Run, case: Case) -> bytes:
    """A row for each position: its signals as published, the cells of further replicates left empty."""
    most = max(len(reading.signals) for reading in case.readings)
    signals = [[y] for y in case.y] + [list(reading.signals) for reading in case.readings]
    rows = [["place", "name", "line", *(f"signal {n}" for n in range(1, most + 1))]]
    for position, values in zip(run.positions.order_by("number"), signals, strict=True):
        cells = [repr(value) for value in values] + [""] * (most - len(values))
        rows.append([str(position.number), position.label, "Cd 228.802", *cells])
    return "\n".join(",".join(row) for row in rows).encode()
