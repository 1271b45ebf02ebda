"""Control samples made of another position: duplicates, spikes, dilutions.

References: EPA Method 6010D (2018), 9.7.2 and 9.11; EPA Method 200.7, revision 4.4 (1994), 9.4.3, for spikes that the
sample drowns; EPA contract laboratory practice for duplicates near the limit (from memory).
"""

from collections.abc import Callable

from labresults.calculation.blanks import total_dilution
from labresults.calculation.criteria import Observation
from labresults.calculation.judged_places import Place
from labresults.calculation.preparation import CONTENT, added_content, chain_factor, content_factor
from labresults.calculation.quality_control import (
    ELIGIBLE_TIMES_QUANTIFICATION,
    absolute_difference,
    difference_percent,
    dilution_difference_percent,
    figures,
    horwitz_ratio,
    is_not_above,
    spike_recovery_percent,
)
from labresults.calculation.run import Criterion
from labresults.calculation.units import factor, unit
from labresults.terms import Role

Compare = Callable[[Place, Place, Criterion], Observation]


def with_parent(place: Place, criterion: Criterion, compare: Compare) -> Observation:
    """Return what `compare` sees of a position and its parent; nothing where one of them has no number."""
    parent = place.parent()
    if parent is None:
        return Observation(None, None, f"{place.position.label} does not say which position it belongs to.")
    reason = place.why_not() or parent.why_not()
    return Observation(None, None, reason) if reason is not None else compare(place, parent, criterion)


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
    return place.concentration * scale, place.quantification_limit * scale


def difference(place: Place, parent: Place, criterion: Criterion) -> Observation:
    """Return the relative difference of two results, %; near the quantification limit the absolute one, in limits.

    Near is a mean under `near_limit_times` quantification limits; of two limits the higher one counts.
    """
    (one, limit), (other, other_limit) = _reported(parent), _reported(place)
    printed = place.determination.unit
    why = f"{place.line.key} {figures(one)} and {figures(other)} {printed}"
    if one < limit and other < other_limit:
        return Observation(None, one, f"{why}, both below the quantification limit: a difference says nothing.")
    higher, times = max(limit, other_limit), criterion.near_limit_times
    if times is not None and criterion.near_limit_high is not None and (one + other) / 2.0 < times * higher:
        why = (
            f"{why}, a mean under {times:g} quantification limits of {figures(higher)} {printed}, difference in limits"
        )
        return Observation(absolute_difference(one, other, higher), one, why, near_limit=True)
    observed = difference_percent(one, other)
    return Observation(observed, one, why if observed is not None else f"{why}: no mean above zero to compare with.")


def absolute(place: Place, parent: Place, criterion: Criterion) -> Observation:
    """Return the difference of two results in quantification limits, of two limits in the higher one."""
    (one, limit), (other, other_limit) = _reported(parent), _reported(place)
    higher, printed = max(limit, other_limit), place.determination.unit
    why = f"{place.line.key} {figures(one)} and {figures(other)} {printed}, in quantification limits"
    return Observation(absolute_difference(one, other, higher), one, why)


def over_expected(place: Place, parent: Place, criterion: Criterion) -> Observation:
    """Return the spread of a pair over the one that is expected at its content (Horwitz), as mass fraction [1]."""
    pair = [_content(each) for each in (parent, place)]
    limits = [_content(each, each.quantification_limit) for each in (parent, place)]
    (one, other), printed = pair, content_unit(place)
    why = f"{place.line.key} {figures(one)} and {figures(other)} {printed}"
    if one < limits[0] and other < limits[1]:
        return Observation(None, one, f"{why}, both below the quantification limit: a difference says nothing.")
    if unit(printed).kind is not unit("mg/kg").kind:
        return Observation(None, one, f"{why}: the expected spread is known for mass fractions only.")
    observed = horwitz_ratio(one, other, float(factor(printed, "mg/kg")) * 1e-6)
    why = f"{why}, spread over the expected one" if observed is not None else f"{why}: no mean above zero."
    return Observation(observed, one, why)


def content_unit(place: Place) -> str:
    """Return the unit of what the portion holds of an element: mg/kg, or mg/L for a volume."""
    portion = place.position.portion
    return CONTENT[portion.kind].sample if portion is not None else place.method.solution_unit


def _content(place: Place, concentration: float | None = None) -> float:
    """Return the element's content of the portion as weighed, or of the solution where there is no portion."""
    portion, dilution = place.position.portion, place.position.dilution
    scale = dilution
    if portion is not None:
        scale = content_factor(portion, solution_unit=place.method.solution_unit, dilution=dilution)
    return (place.concentration if concentration is None else concentration) * scale


def spike_recovery(place: Place, parent: Place, criterion: Criterion) -> Observation:
    """Return what came back of what was added, %: as content of the portion, or in the measured solution.

    Not judged where less was added than `least_share` of what the sample holds: it drowns the spike.
    """
    if place.position.role is Role.POST_DIGESTION_SPIKE:
        return _spiked_at_instrument(place, parent, criterion)
    portion, of_parent = place.position.portion, parent.position.portion
    if portion is None or of_parent is None:
        return Observation(None, None, f"{place.position.label}: the portions of the spike and its sample are needed.")
    added = added_content(portion, place.line.element)
    if added is None:
        return _not_spiked(place)
    return _came_back(place, _content(place), _content(parent), added, content_unit(place), criterion)


def _spiked_at_instrument(place: Place, parent: Place, criterion: Criterion) -> Observation:
    """Compare in the measured solution: the sample in it is the parent's, as far as both are diluted."""
    added = place.position.added.get(place.line.element)
    if added is None:
        return _not_spiked(place)
    unspiked = parent.concentration * total_dilution(parent.position) / total_dilution(place.position)
    return _came_back(place, place.concentration, unspiked, added, place.method.solution_unit, criterion)


def _not_spiked(place: Place) -> Observation:
    return Observation(None, None, f"{place.position.label} was not spiked with {place.line.element}.")


def _came_back(
    place: Place, spiked: float, unspiked: float, added: float, printed: str, criterion: Criterion
) -> Observation:
    why = f"{place.line.key} spiked {figures(spiked)}, unspiked {figures(unspiked)}, added {figures(added)} {printed}"
    share = criterion.least_share
    if share is not None and not is_not_above(share * unspiked, added):
        drowned = f"less than {100 * share:g} % of what the sample holds was added: it drowns the spike."
        return Observation(None, added, f"{why}; {drowned}")
    return Observation(spike_recovery_percent(spiked, unspiked, added), added, f"{why}, recovered")


def dilution_difference(place: Place, parent: Place, criterion: Criterion) -> Observation:
    """Compare in the solutions: the dilution counts from the solution that the parent was read in."""
    original, limit = parent.concentration, place.quantification_limit
    times = total_dilution(place.position) / total_dilution(parent.position)
    solution_unit = place.method.solution_unit
    why = (
        f"{place.line.key} {figures(original)} {solution_unit}, diluted {times:g} times "
        f"{figures(place.concentration)} {solution_unit}"
    )
    eligible = criterion.least_times or ELIGIBLE_TIMES_QUANTIFICATION
    if not is_not_above(eligible * limit, original):
        return Observation(None, original, f"{why}: the original is below {eligible:g} quantification limits.")
    return Observation(dilution_difference_percent(original, place.concentration, times), original, why)
