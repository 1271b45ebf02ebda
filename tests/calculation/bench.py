"""Random methods, and a bench and an instrument that go the other way than the evaluation: contents to signals.

By their own arithmetic, so that what comes back says something.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from hypothesis import strategies as st

from labresults.calculation.run import (
    RULES,
    Array,
    Determination,
    Expected,
    Interference,
    LineSpecification,
    MethodSpecification,
    Portion,
    Position,
    RunTable,
)
from labresults.terms import Basis, BlankRule, Curve, DriftRule, FitOn, Role, SolutionKind, State, Weighting
from tests.calculation.builders import CU, method

TOP = 10.0  # of every working range, solution unit
LEVELS = (0.0, 0.05, 0.2, 0.5, 1.0)  # of the standards, of TOP
ELEMENTS = ("Al", "Cu", "Fe", "Zn")
CALIBRATORS = len(LEVELS)


@dataclass(frozen=True)
class Work:
    """A method with what is true of a run of it: what each sample holds, in the unit that it is reported in."""

    method: MethodSpecification
    run: RunTable
    contents: dict[int, dict[str, float]]  # by position number, by element


@dataclass(frozen=True)
class Wishes:
    """What a random method does."""

    kind: SolutionKind
    curves: tuple[Curve, ...]
    weightings: tuple[Weighting, ...]
    fit_on: FitOn
    internal_standard: bool
    interferes: bool
    subtracts: bool
    drifts: bool
    basis: Basis
    blanks: int
    rules: int
    seed: int


RELATIVE = [Weighting.NONE, Weighting.INVERSE_X, Weighting.INVERSE_X2, Weighting.INVERSE_VARIANCE]


@st.composite
def wishes(draw: st.DrawFn) -> Wishes:
    kind = draw(st.sampled_from(SolutionKind))
    count = draw(st.integers(1, len(ELEMENTS)))
    rules = draw(st.sampled_from([1, RULES]))
    weightings = RELATIVE if rules == 1 else [*RELATIVE, Weighting.ABSOLUTE]
    return Wishes(
        kind=kind,
        curves=tuple(draw(st.sampled_from(Curve)) for _ in range(count)),
        weightings=tuple(draw(st.sampled_from(weightings)) for _ in range(count)),
        fit_on=draw(st.sampled_from(FitOn)) if rules > 1 else FitOn.MEANS,
        internal_standard=draw(st.booleans()),
        interferes=draw(st.booleans()),
        subtracts=draw(st.booleans()),
        drifts=draw(st.booleans()),
        basis=Basis.AS_RECEIVED if kind is SolutionKind.VOLUME_IN_VOLUME else draw(st.sampled_from(Basis)),
        blanks=draw(st.integers(1, 3)),
        rules=rules,
        seed=draw(st.integers(0, 10**6)),
    )


def made(wish: Wishes, noise: float = 0.0) -> Work:
    """Return a run of random contents by a random method; noise: relative, of each signal."""
    rng = np.random.default_rng(wish.seed)
    elements = ELEMENTS[: len(wish.curves)]
    lines = tuple(_line(wish, index, elements, rng) for index in range(len(elements)))
    unit = "mg/kg" if wish.kind is SolutionKind.MASS_IN_MASS else "mg/L"
    places, contents = _places(wish, elements, unit, rng)
    specification = _method(wish, lines, unit)
    apparent = np.array([[held.get(element, 0.0) for element in elements] for _, held in places])
    prepared = np.array([position.role is not Role.CALIBRATION_STANDARD for position, _ in places])
    pretends = np.array([[_pretends(line, element) for element in elements] for line in lines])
    # under the first rules standards are made one by one: a curve knows only the element of its line
    apparent = apparent + np.where(prepared[:, None] | (wish.rules > 1), apparent @ pretends.T, 0.0)
    signal = _signals(wish, apparent * _drift(wish, places, len(elements), rng), rng)
    run = _table(
        [position for position, _ in places], specification, signal, wish, noise * rng.normal(size=signal.shape)
    )
    return Work(specification, run, contents)


def _line(wish: Wishes, index: int, elements: Sequence[str], rng: np.random.Generator) -> LineSpecification:
    others = [element for element in elements if element != elements[index]] if wish.interferes else []
    return replace(
        CU,
        key=f"{elements[index]} {200 + 50 * index}.000",
        element=elements[index],
        curve=wish.curves[index],
        weighting=wish.weightings[index],
        fit_on=wish.fit_on,
        range_top=TOP,
        interferences=tuple(Interference(other, float(rng.uniform(-0.01, 0.03))) for other in others),
    )


def _pretends(line: LineSpecification, element: str) -> float:
    return sum(each.apparent for each in line.interferences if each.element == element)


def _method(wish: Wishes, lines: tuple[LineSpecification, ...], unit: str) -> MethodSpecification:
    reported = "mg/L" if wish.kind is SolutionKind.VOLUME_IN_VOLUME else "mg/kg"
    return method(
        lines=lines,
        determinations=tuple(Determination(each.element, each.element, reported, wish.basis) for each in lines),
        solution_unit=unit,
        internal_standard="Y 371.029" if wish.internal_standard else None,
        blank_rule=BlankRule.SUBTRACT if wish.subtracts else BlankRule.JUDGE,
        drift_rule=DriftRule.BY_POSITION if wish.drifts else DriftRule.NONE,
        drift_limit_percent=20.0 if wish.drifts else None,
        rules=wish.rules,
    )


def _places(
    wish: Wishes, elements: Sequence[str], unit: str, rng: np.random.Generator
) -> tuple[list[tuple[Position, dict[str, float]]], dict[int, dict[str, float]]]:
    """Return the positions with what their solutions hold as measured, and what the samples hold as reported."""
    places: list[tuple[Position, dict[str, float]]] = []

    def put(role: Role, held: dict[str, float], **more: object) -> None:
        number = len(places) + 1
        places.append((Position(number, role, f"P{number}", **more), held))  # type: ignore[arg-type]

    def put_check(role: Role) -> None:
        held = {element: float(rng.uniform(3.0, 7.0)) for element in elements}
        put(role, held, expected={element: Expected(value, unit) for element, value in held.items()})

    for level in LEVELS:
        held = dict.fromkeys(elements, TOP * level)
        expected = {element: Expected(value, unit) for element, value in held.items()}
        put(Role.CALIBRATION_STANDARD if level else Role.CALIBRATION_BLANK, held, expected=expected)
    put_check(Role.INITIAL_VERIFICATION)
    amounts = [{element: float(rng.uniform(0.0, 0.3)) for element in elements} for _ in range(wish.blanks)]
    for amount in amounts:  # as made up: in 50 mL, or in the solvent
        portion = _portion(wish, rng)
        volume_mL = None if portion.volume_mL is None else 50.0
        put(Role.METHOD_BLANK, amount, portion=replace(portion, dilution=1.0, volume_mL=volume_mL))
    mean = {element: sum(amount[element] for amount in amounts) / len(amounts) for element in elements}
    contents = {}
    for index in range(6):
        portion, dilution = _portion(wish, rng), float(rng.choice([1.0, 2.0, 5.0]))
        per_unit = _solution_per_content(wish, portion) / dilution
        contents[len(places) + 1] = {e: float(rng.uniform(0.5, 6.0)) / per_unit for e in elements}
        blank = _blank_in(wish, portion) / dilution if wish.subtracts else 0.0
        held = {e: contents[len(places) + 1][e] * per_unit + mean[e] * blank for e in elements}
        put(Role.SAMPLE, held, portion=portion, dilution=dilution)
        if index == 2:
            put_check(Role.CONTINUING_VERIFICATION)
    put_check(Role.CONTINUING_VERIFICATION)
    return places, contents


def _portion(wish: Wishes, rng: np.random.Generator) -> Portion:
    portion = Portion(
        key="P",
        batch="B1",
        kind=wish.kind,
        dilution=float(rng.uniform(1.0, 8.0)),
        volume_mL=float(rng.uniform(20.0, 100.0)),
        state=State.AS_RECEIVED,
        moisture_percent=float(rng.uniform(1.0, 60.0)),
    )
    if wish.kind is SolutionKind.VOLUME_IN_VOLUME:
        return replace(portion, aliquot_mL=float(rng.uniform(1.0, 20.0)), moisture_percent=None)
    if wish.kind is SolutionKind.MASS_IN_MASS:
        return replace(portion, mass_g=1.0, solvent_g=float(rng.uniform(2.0, 20.0)), volume_mL=None)
    return replace(portion, mass_g=float(rng.uniform(0.1, 2.0)))


def _solution_per_content(wish: Wishes, portion: Portion) -> float:
    """What one unit of content gives in the solution after the portion's own dilution, by the bench's arithmetic."""
    mass_g, volume_mL = portion.mass_g or 0.0, portion.volume_mL or 0.0
    dry = 1.0 - (portion.moisture_percent or 0.0) / 100.0 if wish.basis is Basis.DRY else 1.0
    if wish.kind is SolutionKind.VOLUME_IN_VOLUME:
        made_up = (portion.aliquot_mL or 0.0) / volume_mL
    elif wish.kind is SolutionKind.MASS_IN_MASS:
        made_up = mass_g / (mass_g + (portion.solvent_g or 0.0))
    else:
        made_up = mass_g / volume_mL  # mg/kg of g in mL: µg in mL
    return dry * made_up / portion.dilution


def _blank_in(wish: Wishes, portion: Portion) -> float:
    """What a blank that was made up to 50 mL (by mass: to as much) adds to a solution, for each unit of its own."""
    scale = 1.0 if wish.kind is SolutionKind.MASS_IN_MASS else 50.0 / (portion.volume_mL or 0.0)
    return scale / portion.dilution


def _drift(wish: Wishes, places: Sequence[tuple[Position, object]], lines: int, rng: np.random.Generator) -> Array:
    """Return the factor at each position and line: one up to the first check, then linear."""
    if not wish.drifts:
        return np.ones((len(places), lines))
    since = np.maximum(np.arange(len(places)) - CALIBRATORS, 0)
    return 1.0 + since[:, None] * rng.uniform(-0.006, 0.006, lines)[None, :]


def _signals(wish: Wishes, apparent: Array, rng: np.random.Generator) -> Array:
    """Return what the instrument gives, with the internal standard's line last, where there is one."""
    columns = []
    for column, curve in enumerate(wish.curves):
        b0 = 0.0 if curve is Curve.LINE_THROUGH_ZERO else float(rng.uniform(5.0, 200.0))
        b1 = float(rng.uniform(200.0, 5000.0))
        b2 = float(rng.uniform(-0.03, 0.03)) * b1 if curve is Curve.QUADRATIC else 0.0
        x = apparent[:, column]
        columns.append(b0 + b1 * x + b2 * x**2)
    signal = np.stack(columns, axis=-1)
    if not wish.internal_standard:
        return signal
    standard = rng.uniform(0.7, 1.3, len(apparent))[:, None]  # what the nebuliser does to all lines alike
    return np.hstack([signal * standard, 8000.0 * standard])


def _table(
    positions: Sequence[Position], specification: MethodSpecification, signal: Array, wish: Wishes, noise: Array
) -> RunTable:
    keys = [line.key for line in specification.lines] + (["Y 371.029"] if wish.internal_standard else [])
    signal = signal * (1.0 + noise)
    spread = np.abs(signal) * 0.01 + 1.0
    apart = [1.0] * len(specification.lines) + [0.0]  # the replicates of the internal standard do not differ
    replicates = {
        (position.number, key): tuple(
            signal[row, column] + part * apart[column] * spread[row, column] for part in (-1.0, 0.0, 1.0)
        )
        for row, position in enumerate(positions[:CALIBRATORS])
        for column, key in enumerate(keys)
    }
    return RunTable(
        positions=tuple(positions),
        line_keys=tuple(keys),
        signal=signal,
        spread=spread,
        count=np.full(signal.shape, 3.0),
        saturated=np.zeros(signal.shape, dtype=np.bool_),
        replicates=replicates if wish.rules > 1 else {},
    )
