"""Every control sample of a run judged against the method's criteria, line by line."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import groupby

from labresults.calculation.blanks import total_dilution
from labresults.calculation.errors import CalculationError
from labresults.calculation.preparation import (
    added_content,
    chain_factor,
    content_factor,
    reference_factor,
)
from labresults.calculation.quality_control import (
    ELIGIBLE_TIMES_QUANTIFICATION,
    difference_percent,
    dilution_difference_percent,
    figures,
    is_not_above,
    judge,
    recovery_percent,
    span,
    spike_recovery_percent,
    times_limit,
)
from labresults.calculation.run import (
    ControlOutcome,
    Criterion,
    Determination,
    Expected,
    LineSpecification,
    MethodSpecification,
    Position,
)
from labresults.calculation.solutions import Solutions
from labresults.calculation.units import factor, unit
from labresults.terms import Measure, Role, SolutionKind, Verdict


@dataclass(frozen=True)
class Observation:
    """What is judged: `observed` in the unit of the measure, `expected` in the unit that was compared; why in words.

    Without an observed number nothing is judged, unless `failed` says that it can only be wrong.
    """

    observed: float | None
    expected: float | None
    why: str
    failed: bool = False


@dataclass(frozen=True)
class Place:
    """A control sample at a line: where it stands, and what it is."""

    solutions: Solutions
    row: int
    column: int

    @property
    def position(self) -> Position:
        """The position."""
        return self.solutions.run.positions[self.row]

    @property
    def line(self) -> LineSpecification:
        """The line."""
        return self.solutions.lines[self.column]

    @property
    def method(self) -> MethodSpecification:
        """The method."""
        return self.solutions.method

    @property
    def concentration(self) -> float:
        """In the measured solution, after corrections, solution unit."""
        return float(self.solutions.concentration[self.row, self.column])

    @property
    def determination(self) -> Determination:
        """What is reported of the element; the element itself as content where the method reports none of it."""
        for determination in self.method.determinations:
            if determination.element == self.line.element:
                return determination
        content_unit = "mg/kg"
        if self.position.portion is not None and self.position.portion.kind is SolutionKind.VOLUME_IN_VOLUME:
            content_unit = "mg/L"
        return Determination(self.line.element, self.line.element, content_unit)

    def parent(self) -> "Place | None":
        """Return the position that this one repeats, spikes or dilutes, at the same line."""
        for row, position in enumerate(self.solutions.run.positions):
            if position.number == self.position.parent:
                return Place(self.solutions, row, self.column)
        return None

    def why_not(self) -> str | None:
        """Return why there is no number to judge; None where there is one. Over range counts: it is not measured."""
        reason = self.solutions.why_no_concentration(self.row, self.column)
        if reason is None and self.solutions.is_over_range(self.row, self.column):
            return f"{self.line.key} reads {figures(self.read)} {self.method.solution_unit}, over the working range."
        return reason

    @property
    def read(self) -> float:
        """Through the curve, before corrections, solution unit."""
        return float(self.solutions.read[self.row, self.column])


def judge_control_samples(solutions: Solutions) -> tuple[ControlOutcome, ...]:
    """Return one outcome for each control sample, line and criterion that speaks of it, in the order of measurement.

    A criterion of an element stands before the general one of the same role and measure. What a failure touches is
    not filled in here.
    """
    outcomes = []
    for row, position in enumerate(solutions.run.positions):
        for column, line in sorted(solutions.lines.items()):
            place = Place(solutions, row, column)
            outcomes += [_outcome(place, c) for c in criteria_for(solutions.method, position.role, line.element)]
    return tuple(outcomes)


def criteria_for(method: MethodSpecification, role: Role, element: str) -> list[Criterion]:
    """Return the criteria for a role and an element: for each measure the element's own, else the general ones."""
    speaking = [c for c in method.criteria if c.role is role and c.element in (None, element)]
    speaking.sort(key=lambda criterion: criterion.measure.value)
    chosen: list[Criterion] = []
    for _, group in groupby(speaking, key=lambda criterion: criterion.measure):
        candidates = list(group)
        own = [criterion for criterion in candidates if criterion.element == element]
        chosen += own or candidates
    return chosen


def _outcome(place: Place, criterion: Criterion) -> ControlOutcome:
    try:
        seen = _observe(place, criterion)
    except CalculationError as error:
        seen = Observation(None, None, str(error))
    if seen.observed is None:
        verdict = Verdict.OUTSIDE if seen.failed else Verdict.NOT_JUDGED
        why = seen.why
    else:
        verdict = judge(seen.observed, criterion.low, criterion.high, place.method.close_fraction)
        sign = "" if criterion.measure is Measure.TIMES_QUANTIFICATION_LIMIT else " %"
        shown = figures(seen.observed, criterion.low, criterion.high)
        why = f"{seen.why}: {shown}{sign}, allowed {span(criterion.low, criterion.high)}{sign}: {verdict.value}."
    return ControlOutcome(
        position=place.position.number,
        line=place.line.key,
        criterion=criterion.key,
        measure=criterion.measure,
        observed=seen.observed,
        expected=seen.expected,
        low=criterion.low,
        high=criterion.high,
        verdict=verdict,
        reach=criterion.reach,
        why=why,
    )


def _observe(place: Place, criterion: Criterion) -> Observation:
    """Return what is judged. Raises CalculationError where a chain cannot be followed: then nothing is judged."""
    match criterion.measure:
        case Measure.RECOVERY:
            return _recovery(place)
        case Measure.TIMES_QUANTIFICATION_LIMIT:
            return _times_limit(place)
        case Measure.DIFFERENCE:
            return _with_parent(place, _difference)
        case Measure.SPIKE_RECOVERY:
            return _with_parent(place, _spike_recovery)
        case Measure.DILUTION_DIFFERENCE:
            return _with_parent(place, _dilution_difference)


def _recovery(place: Place) -> Observation:
    expected = place.position.expected.get(place.line.element)
    if expected is None:
        return Observation(None, None, f"{place.position.label} has no expected value of {place.line.element}.")
    reason = place.solutions.why_no_concentration(place.row, place.column)
    if reason is not None:
        saturated = bool(place.solutions.run.saturated[place.row, place.column])
        return Observation(None, expected.value, reason, failed=saturated)
    found = place.concentration * _recovery_factor(place, expected)
    observed = recovery_percent(found, expected.value)
    shown = unit(expected.unit).printed
    why = f"{place.line.key} found {figures(found)} {shown} of {expected.value:g} {shown}"
    return Observation(observed, expected.value, why if observed is not None else f"{why}: nothing was expected.")


def _recovery_factor(place: Place, expected: Expected) -> float:
    """Return what the concentration is multiplied by to be compared with the expected value.

    A solution is compared as it was made up; a reference material, and a control sample that is given in the unit of
    the sample, as content of the element.
    """
    position, solution_unit = place.position, place.method.solution_unit
    is_solution = unit(expected.unit).kind is unit(solution_unit).kind
    portion = position.portion
    if portion is None or (
        position.role is not Role.REFERENCE_MATERIAL and is_solution and portion.kind is SolutionKind.MASS_IN_VOLUME
    ):
        return total_dilution(position) * float(factor(solution_unit, expected.unit))
    return reference_factor(
        portion, place.determination, expected.unit, solution_unit=solution_unit, dilution=position.dilution
    )


def _times_limit(place: Place) -> Observation:
    reason = place.solutions.why_no_concentration(place.row, place.column)
    limit = place.line.quantification_limit
    if reason is not None:
        saturated = bool(place.solutions.run.saturated[place.row, place.column])
        return Observation(None, limit, reason, failed=saturated)
    solution_unit = place.method.solution_unit
    why = (
        f"{place.line.key} found {figures(place.concentration)} {solution_unit}, "
        f"quantification limit {limit:g} {solution_unit}, times the limit"
    )
    return Observation(times_limit(place.concentration, limit), limit, why)


def _with_parent(place: Place, compare: Callable[[Place, Place], Observation]) -> Observation:
    parent = place.parent()
    if parent is None:
        return Observation(None, None, f"{place.position.label} does not say which position it belongs to.")
    reason = place.why_not() or parent.why_not()
    return Observation(None, None, reason) if reason is not None else compare(place, parent)


def _reported(place: Place) -> tuple[float, float]:
    """Return the final result and its quantification limit, in the reporting unit."""
    position = place.position
    if position.portion is None:
        scale = position.dilution
    else:
        scale = chain_factor(
            position.portion,
            place.determination,
            solution_unit=place.method.solution_unit,
            dilution=position.dilution,
        )
    return place.concentration * scale, place.line.quantification_limit * scale


def _difference(place: Place, parent: Place) -> Observation:
    (one, limit), (other, other_limit) = _reported(parent), _reported(place)
    printed = place.determination.unit
    why = f"{place.line.key} {figures(one)} and {figures(other)} {printed}"
    if one < limit and other < other_limit:
        return Observation(None, one, f"{why}, both below the quantification limit: a difference says nothing.")
    observed = difference_percent(one, other)
    return Observation(observed, one, why if observed is not None else f"{why}: no mean above zero to compare with.")


def _spike_recovery(place: Place, parent: Place) -> Observation:
    portion, of_parent = place.position.portion, parent.position.portion
    if portion is None or of_parent is None:
        return Observation(None, None, f"{place.position.label}: the portions of the spike and its sample are needed.")
    added = added_content(portion, place.line.element)
    if added is None:
        return Observation(None, None, f"{place.position.label} was not spiked with {place.line.element}.")
    unit_of_solution = place.method.solution_unit
    spiked = place.concentration * content_factor(
        portion, solution_unit=unit_of_solution, dilution=place.position.dilution
    )
    unspiked = parent.concentration * content_factor(
        of_parent, solution_unit=unit_of_solution, dilution=parent.position.dilution
    )
    printed = "mg/L" if portion.kind is SolutionKind.VOLUME_IN_VOLUME else "mg/kg"
    why = (
        f"{place.line.key} spiked {figures(spiked)}, unspiked {figures(unspiked)}, added {figures(added)} {printed}, "
        "recovered"
    )
    return Observation(spike_recovery_percent(spiked, unspiked, added), added, why)


def _dilution_difference(place: Place, parent: Place) -> Observation:
    """Compare in the solutions: the dilution counts from the solution that the parent was read in."""
    original, limit = parent.concentration, place.line.quantification_limit
    times = total_dilution(place.position) / total_dilution(parent.position)
    solution_unit = place.method.solution_unit
    why = (
        f"{place.line.key} {figures(original)} {solution_unit}, diluted {times:g} times "
        f"{figures(place.concentration)} {solution_unit}"
    )
    if not is_not_above(ELIGIBLE_TIMES_QUANTIFICATION * limit, original):
        return Observation(
            None, original, f"{why}: the original is below {ELIGIBLE_TIMES_QUANTIFICATION:g} quantification limits."
        )
    return Observation(dilution_difference_percent(original, place.concentration, times), original, why)
