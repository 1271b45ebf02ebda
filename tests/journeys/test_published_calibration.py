"""Published calibrations with raw readings, through a run file and the acts: the printed figures come back."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import pytest

from labresults.actions.evaluation import compute_again
from labresults.models import Result
from labresults.terms import Role
from tests.builders import Laboratory
from tests.journeys.published_runs import PublishedRun, evaluated
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
    evaluation = evaluated(
        lab,
        PublishedRun(
            concentrations=case.x,
            standards=[[y] for y in case.y],
            unknowns=[reading.signals for reading in case.readings],
            unit=case.unit,
            per_unit=case.per_unit,
            mg_per_L=case.mg_per_L,
        ),
    )

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
