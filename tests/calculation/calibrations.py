"""Calibrations of one line for tests: published readings and small invented ones."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from labresults.calculation.curve_quality import qualities
from labresults.calculation.curves import fit_curves
from labresults.calculation.run import CurvePoint, CurveQuality, FittedCurve, LineSpecification, Position, RunTable
from labresults.terms import Role
from tests.calculation.builders import CU, At, in_solution, run_of, sample
from tests.calculation.published import published

CADMIUM, SILVER = published("calibration")["spread grows with level"], published("calibration")["silver"]
CADMIUM_LEVELS = {float(x): values for x, values in CADMIUM["inputs"]["levels"].items()}
SILVER_LEVELS = {
    float(x): [y for at, y in zip(*SILVER["inputs"].values(), strict=True) if at == x]
    for x in sorted(set(SILVER["inputs"]["conc_ug_L"]))
}


def a_calibration(levels: Mapping[float, Sequence[float]], *, left_out: Sequence[int] = ()) -> RunTable:
    """Return a run of one solution for each concentration, mg/L, read in replicates at copper's line, and a sample."""
    roles = [Role.CALIBRATION_STANDARD if x else Role.CALIBRATION_BLANK for x in levels]
    places = [
        At(Position(0, role, f"std {place}", expected=in_solution(Cu=x)), {})
        for place, (role, x) in enumerate(zip(roles, levels, strict=True))
    ]
    values = [list(each) for each in levels.values()]
    run = run_of(*places, sample("A"), signal=np.array([[np.mean(each)] for each in [*values, [1.0]]]))
    return replace(
        run,
        spread=np.array([[np.std(each, ddof=1) if len(each) > 1 else np.nan] for each in [*values, [1.0]]]),
        count=np.array([[float(len(each))] for each in [*values, [1.0]]]),
        replicates={(number, CU.key): tuple(each) for number, each in enumerate(values, start=1) if len(each) > 1},
        left_out=frozenset((number, CU.key) for number in left_out),
    )


def curve_and_quality(run: RunTable, line: LineSpecification) -> tuple[FittedCurve, CurveQuality]:
    curves = fit_curves(run, run.signal, run.spread, {0: line}, "mg/L")
    return curves[1, 0], qualities(run, {0: line}, curves, "mg/L", rules=2)[1, 0]


def single(levels: Mapping[float, Sequence[float]]) -> RunTable:
    """Return the same readings, each of a solution of its own."""
    pairs = [(x, y) for x, values in levels.items() for y in values]
    run = a_calibration({place: [y] for place, (_, y) in enumerate(pairs, start=1)})
    positions = tuple(
        replace(at, expected=in_solution(Cu=pairs[row][0])) if row < len(pairs) else at
        for row, at in enumerate(run.positions)
    )
    return replace(run, positions=positions)


def a_point(x: float, error: float | None = 0.0, *, used: bool = True, y: float = 1.0, position: int = 1) -> CurvePoint:
    """Return a point whose read-back error is `error` %."""
    back = x if error is None else x * (1 + error / 100)
    return CurvePoint(position, x, y, 1.0 if used else 0.0, back, None if x == 0 else error, used)
