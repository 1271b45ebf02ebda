"""Where the uncertainty of a result comes from, each source with its share; combined by JCGM 100:2008 (GUM), 5.1.2.

What is kept apart, so that nothing counts twice:

- The reading: curve, replicates and corrections of this run, in `Solutions.u`.
- Precision: `LineSpecification.u_precision` is intermediate precision, found from whole work done again on other days,
  with new curves and new replicates. The reading is therefore part of it already, and it counts only with what it has
  beyond the reading: √((u_precision · w)² − u_reading²), nothing where the reading alone is larger (common practice,
  no source). A reading with a larger spread than usual so still shows in its own result.
- Bias: of the method against certified values, which no repetition shows.
- Mass, volumes and dilutions: tolerances that stay the same whoever repeats the work.

A combined uncertainty is expanded with the method's coverage factor k.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from labresults.calculation.chain_factors import ChainFactors, chain_factors
from labresults.calculation.run import Array, Determination, LineSpecification, MethodSpecification, Portion
from labresults.calculation.solutions import Solutions
from labresults.calculation.uncertainty import combine
from labresults.terms import SolutionKind, UncertaintyRule

READING = "Calibration and replicates"
FLOOR = "Stated, near zero"
GROWING = "Stated, growing with the content"
PRECISION = "Precision, beyond the reading"
BIAS = "Bias"
MASS, SOLVENT, VOLUME, TAKEN = "Mass of the portion", "Mass of the solvent", "Volume made up to", "Volume taken"
DILUTED, DILUTED_AT_THE_INSTRUMENT = "Dilution", "Dilution at the instrument"

MOST_PARTS = 4
"""So many parts a preparation has at most."""

_OF_METHOD = "of the method version"


@dataclass(frozen=True)
class Contribution:
    """One source of uncertainty.

    u: standard uncertainty that it alone gives the result, in the reporting unit; relative: of the value [1], None
    where that is 0; source: where it comes from, in words. counts: it is combined; no: shown beside, counted elsewhere.
    """

    name: str
    u: float
    relative: float | None
    source: str
    counts: bool = True


class Part(NamedTuple):
    """A relative standard uncertainty of the preparation [1]."""

    name: str
    relative: float
    source: str


def budget(
    solutions: Solutions, row: int, column: int, portion: Portion, determination: Determination
) -> tuple[Contribution, ...]:
    """Return the contributions to the uncertainty of a result, in the reporting unit, in the order of the work.

    Those that count give `combined`, the result's own u: to the last bit where it is combined from its sources. Empty
    where there is no concentration, its chain cannot be followed, or nothing is known of its reading. By a stated
    function, the reading's own part is shown beside it.
    """
    position, method, line = solutions.run.positions[row], solutions.method, solutions.lines[column]
    found = chain_factors([portion], [position.dilution], [determination], solution_unit=method.solution_unit)
    factor, solution = float(found.factor[0, 0]), float(solutions.concentration[row, column])
    value = solution * factor
    if not math.isfinite(value):
        return ()
    u_reading = float(solutions.u[row, column]) * factor
    if method.uncertainty_rule is UncertaintyRule.STATED:
        return _stated(line, factor, value, u_reading)
    return _combined(method, line, portion, position.dilution, value, u_reading)


def combined(contributions: tuple[Contribution, ...]) -> float | None:
    """Return the standard uncertainty that contributions give together; None where there are none."""
    counting = [each.u for each in contributions if each.counts]
    return combine(counting) if counting else None


def preparation_parts(portion: Portion, dilution: float, method: MethodSpecification) -> tuple[Part, ...]:
    """Return what the preparation contributes, each relative to the value [1]: masses, volumes and dilutions.

    From the derivatives of `content_chain`: c V f / m, c V f / aliquot, c f (m + solvent) / m. dilution: made at the
    instrument.
    """
    parts: list[Part] = []
    u_g, u_volume, u_dilution = method.u_mass_g, method.u_volume_relative, method.u_dilution_relative
    mass_g, solvent_g = portion.mass_g, portion.solvent_g
    weighed = f"{u_g:g} g, of the method version"
    if portion.kind is SolutionKind.MASS_IN_VOLUME and mass_g:
        parts = [Part(MASS, u_g / mass_g, weighed), Part(VOLUME, u_volume, _OF_METHOD)]
    elif portion.kind is SolutionKind.VOLUME_IN_VOLUME and portion.aliquot_mL:
        parts = [Part(TAKEN, u_volume, _OF_METHOD), Part(VOLUME, u_volume, _OF_METHOD)]
    elif portion.kind is SolutionKind.MASS_IN_MASS and mass_g and solvent_g is not None:
        whole_g = mass_g + solvent_g
        parts = [
            Part(MASS, u_g * solvent_g / (mass_g * whole_g), weighed),
            Part(SOLVENT, u_g / whole_g, weighed),
        ]
    if portion.dilution != 1.0:
        parts.append(Part(DILUTED, u_dilution, f"× {portion.dilution:g}, {_OF_METHOD}"))
    if dilution != 1.0:
        parts.append(Part(DILUTED_AT_THE_INSTRUMENT, u_dilution, f"× {dilution:g}, {_OF_METHOD}"))
    return tuple(part for part in parts if part.relative)


class Cells(NamedTuple):
    """Results to be: rows and columns of the run, what each row holds, and each column's determination by its place."""

    rows: list[int]
    columns: list[int]
    portions: list[Portion]
    dilutions: list[float]
    determination: list[int]


def combined_u(solutions: Solutions, factors: ChainFactors, cells: Cells) -> Array:
    """Return the standard uncertainties of many results, bit for bit those of `budget` for each one.

    factors: by row of `cells` and its determination. NaN where there is no value, or nothing is known of its reading.
    """
    method, columns = solutions.method, cells.columns
    factor = factors.factor[:, cells.determination]
    value = np.abs(solutions.concentration[np.ix_(cells.rows, columns)] * factor)
    u_reading = solutions.u[np.ix_(cells.rows, columns)] * factor
    precision = np.array([solutions.lines[column].u_precision for column in columns])
    bias = np.array([solutions.lines[column].u_bias for column in columns])
    known = np.isfinite(u_reading)
    reading = np.where(known, u_reading, np.where(precision > 0, 0.0, np.nan))
    beyond = _beyond(precision * value, reading)
    parts = np.zeros((len(cells.rows), MOST_PARTS))
    for index, (portion, dilution) in enumerate(zip(cells.portions, cells.dilutions, strict=True)):
        relative = [part.relative for part in preparation_parts(portion, dilution, method)]
        parts[index, : len(relative)] = relative
    each = [reading, *(parts[:, [part]] * value for part in range(MOST_PARTS)), beyond, bias * value]
    flat = [np.asarray(array).ravel().tolist() for array in each]
    return np.fromiter(map(math.hypot, *flat), np.float64, value.size).reshape(value.shape)


def _beyond(precision: Array, reading: Array) -> Array:
    """Return what a precision has beyond the reading that is part of it already."""
    return np.asarray(np.sqrt(np.maximum(precision * precision - reading * reading, 0.0)))


def _stated(line: LineSpecification, factor: float, value: float, u_reading: float) -> tuple[Contribution, ...]:
    found = [
        Contribution(FLOOR, line.u_floor * factor, _share(line.u_floor * factor, value), _OF_METHOD),
        Contribution(GROWING, line.u_relative * abs(value), _share(line.u_relative * value, value), _OF_METHOD),
    ]
    if math.isfinite(u_reading):
        source = "the curve and the replicates of this run; part of the stated function"
        found.append(Contribution(READING, u_reading, _share(u_reading, value), source, counts=False))
    return tuple(found)


def _combined(
    method: MethodSpecification,
    line: LineSpecification,
    portion: Portion,
    dilution: float,
    value: float,
    u_reading: float,
) -> tuple[Contribution, ...]:
    size = abs(value)
    found = []
    if math.isfinite(u_reading):
        found.append((READING, u_reading, "the curve, the replicates and the corrections of this run"))
    elif not line.u_precision:
        return ()
    reading = u_reading if math.isfinite(u_reading) else 0.0
    found += [(part.name, part.relative * size, part.source) for part in preparation_parts(portion, dilution, method)]
    if line.u_precision:
        beyond = float(_beyond(np.array(line.u_precision * size), np.array(reading)))
        found.append((PRECISION, beyond, f"{100 * line.u_precision:g} % of work done again on other days"))
    if line.u_bias:
        found.append((BIAS, line.u_bias * size, f"{100 * line.u_bias:g} %, against certified values"))
    return tuple(Contribution(name, u, _share(u, value), source) for name, u, source in found)


def _share(u: float, value: float) -> float | None:
    return abs(u / value) if value else None
