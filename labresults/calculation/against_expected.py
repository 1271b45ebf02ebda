"""Control samples whose content is known beforehand: verifications, blanks, reference materials, the standards.

References: EPA Method 6010D (2018), 9.6 to 9.9 and 10.8; T. Linsinger, ERM Application Note 1 (2010), for the
comparison with a certified value (from memory); EPA SW-846 Chapter One (2014), 1.5, for the formula of recovery.
"""

from functools import cache
from math import isfinite

from labresults.calculation.blanks import total_dilution
from labresults.calculation.budget import budget, combined
from labresults.calculation.criteria import Observation
from labresults.calculation.judged_places import Place
from labresults.calculation.preparation import chain_factor, reference_factor
from labresults.calculation.quality_control import error_ratio, figures, recovery_percent, times_limit
from labresults.calculation.run import Expected
from labresults.calculation.uncertainty import u_of_concentration
from labresults.calculation.units import factor, unit
from labresults.terms import Role, SolutionKind, UncertaintyRule

ONLY_WHERE_EXPECTED = frozenset({Role.INTERFERENCE_CHECK, Role.LINEAR_RANGE_CHECK})
"""Roles whose solutions hold some elements of many; the others are no recoveries of theirs."""


def observe_recovery(place: Place) -> Observation | None:
    """Return what was found of what was expected, %; None of an element that such a check is not made up with.

    A check above the working range is judged all the same: how far the curve holds is what some of them are made for.
    """
    position = place.position
    expected = position.expected.get(place.line.element)
    if position.role in ONLY_WHERE_EXPECTED and not holds(place):
        return None
    if expected is None:
        return Observation(None, None, f"{position.label} has no expected value of {place.line.element}.")
    is_interference = position.role is Role.INTERFERENCE_CHECK
    reason = place.why_not() if is_interference else place.why_no_concentration()
    if reason is not None:
        # What interferes is far above the range of its own line on purpose.
        return Observation(None, expected.value, reason, failed=place.is_saturated and not is_interference)
    found = place.concentration * _recovery_factor(place, expected)
    observed = recovery_percent(found, expected.value)
    shown = unit(expected.unit).printed
    why = f"{place.line.key} found {figures(found)} {shown} of {expected.value:g} {shown}"
    return Observation(observed, expected.value, why if observed is not None else f"{why}: nothing was expected.")


def holds(place: Place) -> bool:
    """Return whether the check is made up to hold the element of the line."""
    expected = place.position.expected.get(place.line.element)
    return expected is not None and expected.value > 0


def _recovery_factor(place: Place, expected: Expected) -> float:
    """Return what the concentration is multiplied by to be compared with the expected value.

    A solution is compared as it was made up; a reference material, and a control sample that is given in the unit of
    the sample, as content of the element.
    """
    position, solution_unit = place.position, place.method.solution_unit
    portion = position.portion
    if portion is None or (
        position.role is not Role.REFERENCE_MATERIAL
        and portion.kind is SolutionKind.MASS_IN_VOLUME
        and unit(expected.unit).kind is unit(solution_unit).kind
    ):
        return total_dilution(position) * _between(solution_unit, expected.unit)
    return reference_factor(
        portion, place.determination, expected.unit, solution_unit=solution_unit, dilution=position.dilution
    )


@cache
def _between(one: str, other: str) -> float:
    return float(factor(one, other))


def observe_times_limit(place: Place) -> Observation | None:
    """Return how many quantification limits were found where nothing should be; None where something should."""
    if place.position.role is Role.INTERFERENCE_CHECK and holds(place):
        return None
    reason = place.why_no_concentration()
    limit = place.quantification_limit
    if reason is not None:
        return Observation(None, limit, reason, failed=place.is_saturated)
    solution_unit = place.method.solution_unit
    why = (
        f"{place.line.key} found {figures(place.concentration)} {solution_unit}, "
        f"quantification limit {limit:g} {solution_unit}, times the limit"
    )
    return Observation(times_limit(place.concentration, limit), limit, why)


def observe_error_ratio(place: Place) -> Observation:
    """Return the difference from a certified value over its expanded uncertainty, both uncertainties in it."""
    element, label = place.line.element, place.position.label
    expected = place.position.expected.get(element)
    if expected is None:
        return Observation(None, None, f"{label} has no certified value of {element}.")
    reason = place.why_not()
    if reason is not None:
        return Observation(None, expected.value, reason, failed=place.is_saturated)
    if expected.u is None:
        why = f"The certified value of {element} in {label} has no uncertainty"
        return Observation(None, expected.value, f"{why}: enter it with the lot, or judge the recovery.")
    times, k, u_solution = _recovery_factor(place, expected), place.method.coverage_factor, _u_found(place)
    if u_solution is None:
        return Observation(None, expected.value, f"The uncertainty of {place.line.key} in {label} is not known.")
    found, u_found = place.concentration * times, u_solution * times
    observed = error_ratio(found, expected.value, u_found, expected.u, k)
    shown = unit(expected.unit).printed
    why = (
        f"{place.line.key} found {figures(found)} ± {figures(k * u_found)} {shown}, certified {expected.value:g} ± "
        f"{figures(k * expected.u)} {shown} (k = {k:g}), difference over its expanded uncertainty"
    )
    return Observation(observed, expected.value, why if observed is not None else f"{why}: no uncertainty is known.")


def _u_found(place: Place) -> float | None:
    """Return the standard uncertainty of what was found, that of the result, solution unit; None where it is unknown.

    A material without a portion was measured as it is: what its reading alone contributes, or as the method states it.
    """
    method, portion, determination = place.method, place.position.portion, place.determination
    if portion is not None:
        u = combined(budget(place.solutions, place.row, place.column, portion, determination))
        dilution = place.position.dilution
        factor_ = chain_factor(portion, determination, solution_unit=method.solution_unit, dilution=dilution)
        return None if u is None else u / factor_
    if method.uncertainty_rule is UncertaintyRule.STATED:
        return u_of_concentration(place.concentration, place.line.u_floor, place.line.u_relative)
    u = float(place.solutions.u[place.row, place.column])
    return u if isfinite(u) else None


def observe_read_back(place: Place, least_times: float | None) -> Observation | None:
    """Return how far a calibration standard reads back from what it was made up to, %; None of one left out.

    least_times : standards below so many quantification limits are not judged by it [1]; the low-level check is.
    """
    curve = place.solutions.curves.get((place.position.block, place.column))
    if curve is None:
        return None
    point = next((point for point in curve.points if point.position == place.position.number), None)
    if point is None or not point.used or point.residual_percent is None:
        return None
    if least_times is not None and point.x < least_times * place.quantification_limit:
        return None
    if curve.problem is not None:
        return Observation(None, point.x, f"No curve. {curve.problem}")
    solution_unit = place.method.solution_unit
    why = (
        f"{place.line.key} reads {figures(point.read_back)} {solution_unit} back of {point.x:g} {solution_unit}, "
        "read-back error"
    )
    return Observation(abs(point.residual_percent), point.x, why)
