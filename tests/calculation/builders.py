"""Runs and methods for tests, as small as they can be; every number is invented."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from labresults.calculation.run import (
    Array,
    ControlOutcome,
    Criterion,
    Determination,
    Evaluation,
    Expected,
    LineSpecification,
    MethodSpecification,
    Portion,
    Position,
    Result,
    RunTable,
)
from labresults.terms import BlankRule, Curve, Measure, Reach, Role, SolutionKind, Weighting

CU = LineSpecification(
    key="Cu 324.754",
    element="Cu",
    rank=1,
    curve=Curve.LINE,
    weighting=Weighting.NONE,
    range_top=10.0,
    detection_limit=0.01,
    quantification_limit=0.03,
    u_floor=0.005,
    u_relative=0.03,
)
FE = replace(CU, key="Fe 238.204", element="Fe", range_top=100.0)
INTERCEPT, SLOPE = 50.0, 1000.0


def solid(key: str, *, batch: str = "B1", mass_g: float = 0.5, **changes: object) -> Portion:
    """Return a portion of half a gram made up to 50 mL: 1 mg/L in the solution is 100 mg/kg."""
    portion = Portion(key=key, batch=batch, kind=SolutionKind.MASS_IN_VOLUME, mass_g=mass_g, volume_mL=50.0)
    return replace(portion, **changes)  # type: ignore[arg-type]


def in_solution(**contents: float) -> Mapping[str, Expected]:
    """Return expected values of elements in mg/L."""
    return {element: Expected(value, "mg/L") for element, value in contents.items()}


def method(*criteria: Criterion, lines: Sequence[LineSpecification] = (CU,), **changes: object) -> MethodSpecification:
    """Return a method that reports each element of its lines in mg/kg."""
    elements = dict.fromkeys(line.element for line in lines)
    specification = MethodSpecification(
        code="T-1",
        solution_unit="mg/L",
        lines=tuple(lines),
        determinations=tuple(Determination(element, element, "mg/kg") for element in elements),
        criteria=criteria,
        blank_rule=BlankRule.JUDGE,
        dilution_steps=(2.0, 5.0, 10.0, 50.0),
    )
    return replace(specification, **changes)  # type: ignore[arg-type]


def criterion(role: Role, measure: Measure, low: float | None, high: float | None, reach: Reach) -> Criterion:
    """Return a criterion whose key is its role and measure."""
    return Criterion(f"{role.value}/{measure.value}", role, measure, low, high, reach, "Read it again.")


CONTINUING = criterion(Role.CONTINUING_VERIFICATION, Measure.RECOVERY, 90.0, 110.0, Reach.BRACKET)


@dataclass(frozen=True)
class At:
    """A position and what its solution truly holds, mg/L by element."""

    position: Position
    holds: Mapping[str, float]


def standards(**tops: float) -> list[At]:
    """Return a blank and standards at a tenth, half and the whole of each element's top."""
    made = [{element: top * part for element, top in tops.items()} for part in (0.0, 0.1, 0.5, 1.0)]
    roles = [Role.CALIBRATION_BLANK, *[Role.CALIBRATION_STANDARD] * 3]
    return [
        At(Position(0, role, f"std {index}", expected=in_solution(**holds)), holds)
        for index, (role, holds) in enumerate(zip(roles, made, strict=True))
    ]


def sample(label: str, portion: Portion | None = None, *, role: Role = Role.SAMPLE, **holds: float) -> At:
    """Return a sample with a portion of its own."""
    return At(Position(0, role, label, portion=portion or solid(label)), holds)


def check(label: str, *, role: Role = Role.CONTINUING_VERIFICATION, true: float = 5.0, cu: float) -> At:
    """Return a verification of copper that holds `cu` and should hold `true`, mg/L."""
    return At(Position(0, role, label, expected=in_solution(Cu=true)), {"Cu": cu})


def changed(at: At, **changes: object) -> At:
    """Return the same with other fields of its position."""
    return At(replace(at.position, **changes), at.holds)  # type: ignore[arg-type]


def run_of(*places: At, lines: Sequence[LineSpecification] = (CU,), signal: Array | None = None) -> RunTable:
    """Return a run, numbered from 1, whose signals follow the straight line of INTERCEPT and SLOPE exactly."""
    positions = tuple(replace(at.position, number=number) for number, at in enumerate(places, start=1))
    held = np.array([[at.holds.get(line.element, 0.0) for line in lines] for at in places], dtype=np.float64)
    signals = INTERCEPT + SLOPE * held if signal is None else signal
    return RunTable(
        positions=positions,
        line_keys=tuple(line.key for line in lines),
        signal=signals,
        spread=np.full(signals.shape, 5.0),
        count=np.full(signals.shape, 3.0),
        saturated=np.zeros(signals.shape, dtype=np.bool_),
    )


def result_at(evaluation: Evaluation, position: int, line: str = CU.key) -> Result:
    """Return the one result at a position and a line."""
    (found,) = [each for each in evaluation.results if (each.position, each.line) == (position, line)]
    return found


def outcome_at(evaluation: Evaluation, position: int, line: str = CU.key) -> ControlOutcome:
    """Return the one outcome at a position and a line."""
    (found,) = [each for each in evaluation.outcomes if (each.position, each.line) == (position, line)]
    return found


def noisy(run: RunTable, seed: int = 5) -> RunTable:
    """Return the run with some noise, so that its curves have a residual scatter."""
    return replace(run, signal=run.signal + np.random.default_rng(seed).normal(0.0, 6.0, run.signal.shape))
