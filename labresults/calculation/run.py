"""What the evaluation of a run is given and what it gives back. Values only: frozen, no behaviour, no database.

Shapes are named in brackets: [position], [line], [position x line]. Solution concentrations are in the unit of the
calibration (`MethodSpecification.solution_unit`): mg/L, or mg/kg for portions diluted by mass. Signals are in the
instrument's unit.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields

import numpy as np
from numpy.typing import NDArray

from labresults.terms import (
    Basis,
    BlankRule,
    Curve,
    Mark,
    Measure,
    Reach,
    Role,
    SolutionKind,
    State,
    Verdict,
    Weighting,
)

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Interference:
    """Inter-element correction: the line reads `apparent` solution units for each solution unit of `element`."""

    element: str
    apparent: float


@dataclass(frozen=True)
class LineSpecification:
    """One line of a method version. Limits and uncertainties in the solution unit unless said."""

    key: str  # "Cu 324.754": element, a space, the wavelength label in nm
    element: str
    rank: int  # 1 is the line that is reported when its checks hold
    curve: Curve
    weighting: Weighting
    range_top: float  # top of the working range
    detection_limit: float
    quantification_limit: float
    u_floor: float  # standard uncertainty near zero
    u_relative: float  # relative standard uncertainty well above the quantification limit [1]
    interferences: tuple[Interference, ...] = ()


@dataclass(frozen=True)
class Determination:
    """What is reported of an element."""

    element: str
    reported_as: str  # "Cu", or a compound such as "Al2O3"
    unit: str  # of the report: "mg/kg", "%", "g/t", "mg/L", ...
    basis: Basis = Basis.AS_RECEIVED
    reporting_limit: float | None = None  # in `unit`; its own thing beside the two limits that are computed


@dataclass(frozen=True)
class Criterion:
    """How control samples of one role are judged. `low` and `high` in the unit of `measure`, bounds included."""

    key: str
    role: Role
    measure: Measure
    low: float | None
    high: float | None
    reach: Reach
    remedy: str
    element: str | None = None  # None: every element that has no criterion of its own
    spares_times_blank: float | None = (
        None  # a failed method blank spares results at or above this many times the blank
    )


@dataclass(frozen=True)
class MethodSpecification:
    """A method version as the evaluation needs it."""

    code: str
    solution_unit: str  # "mg/L" or "mg/kg"
    lines: tuple[LineSpecification, ...]
    determinations: tuple[Determination, ...]
    criteria: tuple[Criterion, ...]
    blank_rule: BlankRule
    dilution_steps: tuple[float, ...]  # the laboratory's own list of factors, ascending
    coverage_factor: float = 2.0
    close_fraction: float = 0.1  # the outer part of the allowed span that is called close
    internal_standard: str | None = None  # key of its line
    instrument_calibrates: bool = False  # readings are concentrations already: nothing is recomputed
    signal_unit: str = "counts/s"  # of the readings, where they are signals


@dataclass(frozen=True, repr=False)
class Portion:
    """A test portion as it was made into a solution.

    mass_g, solvent_g [g]; volume_mL, aliquot_mL [mL]; dilution: total factor after making up [1], at least 1;
    moisture_percent: loss on drying of the state that was weighed, of that state's mass [%]; density_kg_per_L [kg/L].
    """

    key: str
    batch: str
    kind: SolutionKind
    mass_g: float | None = None
    volume_mL: float | None = None
    aliquot_mL: float | None = None
    solvent_g: float | None = None
    dilution: float = 1.0
    state: State = State.AS_RECEIVED
    moisture_percent: float | None = None
    density_kg_per_L: float | None = None
    added_mg: Mapping[str, float] = field(default_factory=dict)  # by element: spiked into the portion
    basis: Basis | None = None  # what this sample is reported on; None: as the determination says
    is_extraction: bool = False  # shaken with an extractant, whose volume the portion's own water adds to
    refused: Mapping[str, str] = field(default_factory=dict)  # by element: why this solution can say nothing of it

    def __repr__(self) -> str:
        """All fields by name; those that came later only where they say something.

        Digests of what evaluations were given are made of it: one from before those fields must still be met.
        """
        shown = [
            f"{each.name}={getattr(self, each.name)!r}"
            for each in fields(self)
            if each.name not in _LATER or getattr(self, each.name)
        ]
        return f"{type(self).__qualname__}({', '.join(shown)})"


_LATER = frozenset({"is_extraction", "refused"})


@dataclass(frozen=True)
class Expected:
    """What a control sample should give: in the solution unit for checks, in `unit` for reference materials."""

    value: float
    unit: str
    u: float | None = None  # standard uncertainty, same unit


@dataclass(frozen=True)
class Position:
    """One place of the run, in the order of measurement."""

    number: int
    role: Role
    label: str
    block: int = 1  # the calibration block that it belongs to
    expected: Mapping[str, Expected] = field(default_factory=dict)  # by element
    portion: Portion | None = None
    dilution: float = 1.0  # made at the instrument, on top of the portion's own
    parent: int | None = None  # number of the position that it repeats, spikes or dilutes
    used: bool = True  # a calibration point left out stays in the table, unused


@dataclass(frozen=True)
class RunTable:
    """The run as measured: `signal`, `spread` (standard deviation of replicates) and `count` are [position x line]."""

    positions: tuple[Position, ...]
    line_keys: tuple[str, ...]
    signal: Array  # NaN where nothing was read
    spread: Array  # NaN where fewer than two replicates
    count: Array
    saturated: NDArray[np.bool_]  # the instrument itself said over range: no number to scale a dilution from
    left_out: frozenset[tuple[int, str]] = frozenset()  # (position number, line): not used for the curve of that line


# ---------------------------------------------------------------- what comes back


@dataclass(frozen=True)
class CurvePoint:
    """One point of a curve: x in the solution unit, y a signal; `residual_percent` of x, None where x is 0."""

    position: int
    x: float
    y: float
    weight: float
    read_back: float
    residual_percent: float | None
    used: bool


@dataclass(frozen=True)
class FittedCurve:
    """signal = b0 + b1 x + b2 x², ascending coefficients, with their standard errors and covariance (row-major)."""

    block: int
    line: str
    curve: Curve
    weighting: Weighting
    coefficients: tuple[float, float, float]
    standard_errors: tuple[float, float, float]
    covariance: tuple[tuple[float, float, float], ...]
    residual_sd: float
    r: float
    n: int
    low: float  # lowest and highest standard in use
    high: float
    points: tuple[CurvePoint, ...]
    problem: str | None = None  # why there is no curve, in words; the numbers are NaN then


@dataclass(frozen=True)
class ControlOutcome:
    """A control sample judged at one line."""

    position: int
    line: str
    criterion: str  # its key
    measure: Measure
    observed: float | None
    expected: float | None
    low: float | None
    high: float | None
    verdict: Verdict
    reach: Reach
    why: str  # one sentence with the numbers
    touches: tuple[int, ...] = ()  # positions of samples whose result at this line stands on it; filled when it failed


@dataclass(frozen=True)
class Proposal:
    """A dilution for an over-range reading: the smallest own factor that brings it under four fifths of the range."""

    position: int
    line: str
    read: float | None  # None when saturated: no factor can be computed
    range_top: float
    factor: float | None
    expect: float | None


@dataclass(frozen=True)
class Result:
    """One element in one sample from one line, in the reporting unit, unrounded. Limits follow the portion."""

    position: int
    line: str
    element: str
    reported_as: str
    unit: str
    basis: Basis
    value: float | None  # None: over range, saturated or not to be had; `why_no_value` says
    detection_limit: float
    quantification_limit: float
    reporting_limit: float | None
    upper_limit: float  # the top of the working range carried through the same chain
    u: float | None  # standard uncertainty
    expanded_u: float | None
    coverage_factor: float
    solution: float | None  # concentration in the measured solution, after corrections
    marks: tuple[Mark, ...]
    why_no_value: str | None = None


@dataclass(frozen=True)
class Evaluation:
    """Everything that one evaluation of one run gives. Arrays are [position x line] in the solution unit."""

    curves: tuple[FittedCurve, ...]
    concentration: Array
    u_concentration: Array
    outcomes: tuple[ControlOutcome, ...]
    proposals: tuple[Proposal, ...]
    results: tuple[Result, ...]


@dataclass(frozen=True)
class Step:
    """One line of a calculation written out: what, how (with its numbers), what it gives."""

    what: str
    note: str
    numerator: str
    denominator: str | None
    value: float
    unit: str
