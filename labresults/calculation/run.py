"""What the evaluation of a run is given and what it gives back. Values only: frozen, no behaviour, no database.

Shapes are named in brackets: [position], [line], [position x line]. Solution concentrations are in the unit of the
calibration (`MethodSpecification.solution_unit`): mg/L, or mg/kg for portions diluted by mass. Signals are in the
instrument's unit.
"""

from collections.abc import Mapping, Sequence
from dataclasses import MISSING, dataclass, field, fields
from functools import cache
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from labresults.terms import (
    Basis,
    BlankRule,
    Curve,
    DriftRule,
    FitOn,
    Mark,
    Measure,
    Reach,
    Repeat,
    RepeatCause,
    Role,
    SolutionKind,
    State,
    UncertaintyRule,
    Verdict,
    Weighting,
)

Array = NDArray[np.float64]

RULES = 2
"""Edition of the rules of evaluation. 1: before working ranges followed the standards in use, curves had their
qualities, and results said what the reading alone contributes. An old evaluation is computed again by its own."""


class AsWritten:
    """Shown with all fields by name, but those that came later only where they say something.

    Digests of what evaluations were given are made of it: one from before those fields must still be met.
    """

    later: ClassVar[frozenset[str]] = frozenset()

    def __repr__(self) -> str:
        shown = [
            f"{name}={value!r}"
            for name, is_later, default in _written(type(self))  # type: ignore[arg-type]  # classes can be hashed
            if (value := getattr(self, name)) != default or not is_later
        ]
        return f"{type(self).__qualname__}({', '.join(shown)})"


@cache
def _written(kind: type[Any]) -> tuple[tuple[str, bool, Any], ...]:
    """Name of each field, whether it came later, and what it is when nothing is said; that only where it did."""
    return tuple(
        (each.name, each.name in kind.later, _default(each) if each.name in kind.later else None)
        for each in fields(kind)
    )


def _default(each: Any) -> Any:
    return each.default if each.default is not MISSING else each.default_factory()


@dataclass(frozen=True)
class Interference:
    """Inter-element correction: the line reads `apparent` solution units for each solution unit of `element`."""

    element: str
    apparent: float


@dataclass(frozen=True, repr=False)
class LineSpecification(AsWritten):
    """One line of a method version. Limits and uncertainties in the solution unit unless said."""

    later = frozenset({"fit_on", "carry_over", "u_precision", "u_bias"})

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
    fit_on: FitOn = FitOn.MEANS
    carry_over: float | None = None  # share of a reading that may still be seen at the next position [1]
    u_precision: float = 0.0  # relative, of work done again on other days [1]
    u_bias: float = 0.0  # relative, of the bias against certified values [1]


@dataclass(frozen=True)
class Determination:
    """What is reported of an element."""

    element: str
    reported_as: str  # "Cu", or a compound such as "Al2O3"
    unit: str  # of the report: "mg/kg", "%", "g/t", "mg/L", ...
    basis: Basis = Basis.AS_RECEIVED
    reporting_limit: float | None = None  # in `unit`; its own thing beside the two limits that are computed


@dataclass(frozen=True, repr=False)
class Criterion(AsWritten):
    """How control samples of one role are judged. `low` and `high` in the unit of `measure`, bounds included."""

    later = frozenset({"near_limit_times", "near_limit_high", "least_share", "least_times"})

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
    near_limit_times: float | None = None  # a mean under so many quantification limits is judged by the next bound
    near_limit_high: float | None = None  # largest absolute difference there, in quantification limits
    least_share: float | None = None  # a spike is judged from this share of what the sample holds on
    least_times: float | None = None  # readings are judged from so many quantification limits on


@dataclass(frozen=True, repr=False)
class MethodSpecification(AsWritten):
    """A method version as the evaluation needs it."""

    later = frozenset(
        {
            "drift_rule",
            "drift_limit_percent",
            "lines_agree_percent",
            "by_additions",
            "uncertainty_rule",
            "u_mass_g",
            "u_volume_relative",
            "u_dilution_relative",
            "rules",
        }
    )

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
    drift_rule: DriftRule = DriftRule.NONE
    drift_limit_percent: float | None = None  # a drift beyond it is not corrected
    lines_agree_percent: float | None = None  # largest relative difference of two lines that is not shown
    by_additions: bool = False  # samples are calibrated by standard additions
    uncertainty_rule: UncertaintyRule = UncertaintyRule.STATED
    u_mass_g: float = 0.0  # standard uncertainty of a portion's mass [g]
    u_volume_relative: float = 0.0  # of the volume made up to [1]
    u_dilution_relative: float = 0.0  # of each dilution [1]
    rules: int = 1  # edition of the rules of evaluation, see RULES


@dataclass(frozen=True, repr=False)
class Portion(AsWritten):
    """A test portion as it was made into a solution.

    mass_g, solvent_g [g]; volume_mL, aliquot_mL [mL]; dilution: total factor after making up [1], at least 1;
    moisture_percent: loss on drying of the state that was weighed, of that state's mass [%]; density_kg_per_L [kg/L].
    """

    later = frozenset({"is_extraction", "refused"})

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


@dataclass(frozen=True)
class Expected:
    """What a control sample should give: in the solution unit for checks, in `unit` for reference materials."""

    value: float
    unit: str
    u: float | None = None  # standard uncertainty, same unit


@dataclass(frozen=True, repr=False)
class Position(AsWritten):
    """One place of the run, in the order of measurement."""

    later = frozenset({"added", "is_repeat"})

    number: int
    role: Role
    label: str
    block: int = 1  # the calibration block that it belongs to
    expected: Mapping[str, Expected] = field(default_factory=dict)  # by element
    portion: Portion | None = None
    dilution: float = 1.0  # made at the instrument, on top of the portion's own
    parent: int | None = None  # number of the position that it repeats, spikes or dilutes
    used: bool = True  # a calibration point left out stays in the table, unused
    added: Mapping[str, float] = field(default_factory=dict)  # by element: to the measured solution, solution unit
    is_repeat: bool = False  # read, diluted or digested again: it was read before


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
    replicates: Mapping[tuple[int, str], tuple[float, ...]] = field(
        default_factory=dict
    )  # of calibration solutions, by position number and line
    times_s: tuple[float | None, ...] = ()  # [position]: when it was read, seconds from the first; empty when unknown


# ---------------------------------------------------------------- what comes back


@dataclass(frozen=True, repr=False)
class CurvePoint(AsWritten):
    """One point of a curve: x in the solution unit, y a signal; `residual_percent` of x, None where x is 0.

    pretended: what the other elements of the solution read as at the line, solution unit; read_back is without it.
    """

    later = frozenset({"pretended"})

    position: int
    x: float
    y: float
    weight: float
    read_back: float
    residual_percent: float | None
    used: bool
    pretended: float = 0.0

    @property
    def reads(self) -> float:
        """What the solution reads as at the line: the place of the point on the curve, solution unit."""
        return self.x + self.pretended


@dataclass(frozen=True, repr=False)
class FittedCurve(AsWritten):
    """signal = b0 + b1 x + b2 x², ascending coefficients, with their standard errors and covariance (row-major).

    residual_sd: weighted, in the unit of the signal; where the spread is taken as known, relative to it [1]. n: fitted
    values, which are more than the points where single replicates were fitted.
    """

    later = frozenset({"fit_on"})

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
    fit_on: FitOn = FitOn.MEANS


@dataclass(frozen=True)
class CurveQuality:
    """How good a curve is. bottom, top: the working range in use, solution unit; None where it cannot be said.

    standard_error_percent: relative standard error (EPA Method 6010D (2018), 10.7); lowest_error_percent: read-back
    error at the lowest standard in use; lack_of_fit_f, lack_of_fit_p: F test of the shape against the replicates;
    shrunk: in words, what a point left out took of the working range. unsupported: in words, that the lowest standard
    in use is above the quantification limit.
    """

    block: int
    line: str
    bottom: float | None
    top: float | None
    standard_error_percent: float | None = None
    lowest_error_percent: float | None = None
    lack_of_fit_f: float | None = None
    lack_of_fit_p: float | None = None
    shrunk: str = ""
    unsupported: str = ""


@dataclass(frozen=True, repr=False)
class ControlOutcome(AsWritten):
    """A control sample judged at one line."""

    later = frozenset({"found"})

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
    # Positions of samples whose result at this line (of a measure in OF_POSITIONS: at every line) stands on it; filled
    # when it failed.
    touches: tuple[int, ...] = ()
    found: float | None = None  # in the measured solution, after corrections, solution unit; not under rules 1


@dataclass(frozen=True)
class Proposal:
    """A dilution for an over-range reading: the smallest own factor that brings it under four fifths of the range."""

    position: int
    line: str
    read: float | None  # None when saturated: no factor can be computed
    range_top: float
    factor: float | None
    expect: float | None


@dataclass(frozen=True, repr=False)
class Result(AsWritten):
    """One element in one sample from one line, in the reporting unit, unrounded. Limits follow the portion."""

    later = frozenset({"u_reading"})

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
    u_reading: float | None = None  # of u, what the curve and the replicates say of the reading


@dataclass(frozen=True)
class ProposedRepeat:
    """Something to measure again, and how: the cause is on record before it is read.

    line is None where the whole position is meant. factor: the dilution at the instrument in place of the one that was
    made; None where no factor can be given.
    """

    position: int
    line: str | None
    cause: RepeatCause
    kind: Repeat
    factor: float | None
    why: str


@dataclass(frozen=True)
class Disagreement:
    """Two lines of one element at one position that differ by more than the method allows, in the reporting unit."""

    position: int
    element: str
    chosen: str  # the line that ranks first
    other: str
    value: float
    other_value: float
    difference_percent: float
    allowed_percent: float


@dataclass(frozen=True)
class Evaluation:
    """Everything that one evaluation of one run gives. Arrays are [position x line] in the solution unit."""

    curves: tuple[FittedCurve, ...]
    concentration: Array
    u_concentration: Array
    outcomes: tuple[ControlOutcome, ...]
    proposals: tuple[Proposal, ...]
    results: Sequence[Result]
    qualities: tuple[CurveQuality, ...] = ()
    repeats: tuple[ProposedRepeat, ...] = ()
    disagreements: tuple[Disagreement, ...] = ()
    counted: Mapping[Measure, int] = field(default_factory=dict)  # judged, where only failures are among the outcomes
    rules: int = 1  # edition of the rules that it was made by


@dataclass(frozen=True)
class Step:
    """One line of a calculation written out: what, how (with its numbers), what it gives."""

    what: str
    note: str
    numerator: str
    denominator: str | None
    value: float
    unit: str
