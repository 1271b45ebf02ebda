"""What must fit together in samples, whatever measured it. A finding asks for a look; it never decides anything.

Every comparison is made on unrounded values, each beyond what the uncertainties allow: two values differ when they are
farther apart than √(U₁² + U₂²), taken as independent (JCGM 100:2008, 5.1.2, with both U at the same k). A value below
its detection limit is only known to lie between zero and that limit. Which elements, and between which bounds, is data:
a rule has its source beside it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot, log, log10

import numpy as np

from labresults.calculation.errors import CalculationError
from labresults.calculation.robust import median_deviation
from labresults.calculation.stoichiometry import compound_factor
from labresults.calculation.units import UNITS, Kind, factor
from labresults.terms import PlausibilityKind

LEAST_EARLIER = 6
"""Fewer earlier values than this say nothing of the next (common practice, no source)."""

FAR = 5.0
"""Robust z beyond which a value does not fit earlier ones, where the rule says nothing else (common practice, no
source): ISO 13528:2015, 9.4, acts at 3, which one in 400 honest values passes, and a submission holds thousands."""

IN_PERCENT = {key: float(factor(key, "%")) for key, unit in UNITS.items() if unit.kind is Kind.MASS_FRACTION}
"""What a mass fraction in each unit is multiplied by to be in %."""


@dataclass(frozen=True)
class Seen:
    """A result as it is compared: value, U (k as everywhere) and detection limit in `unit`, of what is reported."""

    key: int
    element: str
    method: str
    reported_as: str
    unit: str
    value: float
    expanded_u: float
    detection_limit: float
    is_below: bool = False
    basis: str = ""


@dataclass(frozen=True)
class Rule:
    """A rule as data. elements: symbols, empty for any; low, high: in the unit of the kind."""

    name: str
    kind: PlausibilityKind
    elements: tuple[str, ...]
    low: float | None
    high: float | None
    source: str


@dataclass(frozen=True)
class Finding:
    """What does not fit: the keys of the results that ask for a look, in words with the numbers, and the rule."""

    keys: tuple[int, ...]
    words: str
    rule: str
    source: str


def dissolved_above_total(dissolved: Seen, total: Seen, rule: Rule) -> Finding | None:
    """Return a finding where what is dissolved exceeds the total of the same element beyond both uncertainties."""
    one, other = _alike(dissolved, total)
    if one is None or other is None or dissolved.is_below:
        return None
    if one.value <= other.value or not _apart(one, other):
        return None
    words = f"{dissolved.element} dissolved is {_said(one)}, above the total of {_said(other)}, beyond both U."
    return _found((dissolved.key, total.key), words, rule)


def by_two_methods(one: Seen, other: Seen, rule: Rule) -> Finding | None:
    """Return a finding where one element by two methods, as element or as oxide, differs beyond both uncertainties."""
    first, second = _alike(one, other)
    if first is None or second is None or not _apart(first, second):
        return None
    words = (
        f"{one.element} by {one.method} is {_said(first)} and by {other.method} {_said(second)}:"
        " farther apart than both U allow."
    )
    return _found((one.key, other.key), words, rule)


def duplicates_differ(one: Seen, duplicate: Seen, rule: Rule) -> Finding | None:
    """Return a finding where a sample and its duplicate differ beyond both uncertainties, and by more than `high` %."""
    first, second = _alike(one, duplicate)
    if first is None or second is None or not _apart(first, second):
        return None
    x, y = (row.detection_limit if row.is_below else row.value for row in (first, second))
    mean = (x + y) / 2  # the limit in place of what is below it: the least that they may be apart
    percent = 100 * abs(x - y) / abs(mean) if mean else float("inf")
    if percent <= (rule.high or 0.0):
        return None
    apart = f"{'at least ' if first.is_below or second.is_below else ''}{percent:.3g} % apart"
    words = f"{one.element} is {_said(first)} here and {_said(second)} in its duplicate: {apart}."
    return _found((one.key,), words, rule)


def comparable(values: Sequence[Seen]) -> list[list[Seen]]:
    """Return the values of one sample in sets in which each element stands once, on one basis: all of a basis where
    they do, else those of each method. What is added up or divided does not hang on the order in which rows come.
    """
    found = []
    for basis in sorted({seen.basis for seen in values}):
        alike = [seen for seen in values if seen.basis == basis]
        groups = [alike] if _each_once(alike) else _by_method(alike)
        found += [group for group in groups if _each_once(group)]
    return found


def _each_once(values: Sequence[Seen]) -> bool:
    return len({seen.element for seen in values}) == len(values)


def _by_method(values: Sequence[Seen]) -> list[list[Seen]]:
    methods = sorted({seen.method for seen in values})
    return [[seen for seen in values if seen.method == method] for method in methods]


def farther_apart(one: Seen, other: Seen) -> Seen | None:
    """Return a second measurement as the first is reported, where the two differ beyond both uncertainties; else None.

    Other units, and oxide and element, are brought together; another basis is not compared.
    """
    first, second = _alike(one, other)
    return second if first is not None and second is not None and _apart(first, second) else None


def oxide_total(values: Sequence[Seen], ignition_percent: float | None, rule: Rule) -> Finding | None:
    """Return a finding where the oxides of one sample, with its loss on ignition, do not add up to low..high %.

    Nothing is said where one of the rule's elements was not measured as an oxide. What is below its detection limit
    counts as zero; the uncertainties of the oxides widen the bounds: U of the sum is √ΣU². The largest oxide asks.
    """
    oxides = {seen.element: seen for seen in values if seen.reported_as != seen.element and seen.unit in IN_PERCENT}
    if len(oxides) < 2 or set(rule.elements) - set(oxides):
        return None
    parts = {key: 0.0 if seen.is_below else seen.value * IN_PERCENT[seen.unit] for key, seen in oxides.items()}
    total = sum(parts.values()) + (ignition_percent or 0.0)
    u = hypot(*(seen.expanded_u * IN_PERCENT[seen.unit] for seen in oxides.values()))
    if not _outside(total, u, rule):
        return None
    largest = oxides[max(parts, key=lambda key: parts[key])]
    ignited = f" with {ignition_percent:.4g} % loss on ignition" if ignition_percent is not None else ""
    words = f"{len(oxides)} oxides{ignited} add up to {total:.4g} ± {u:.2g} %: expected {_bounds(rule)} %."
    return _found((largest.key,), words, rule)


def beside_earlier(seen: Seen, earlier: Sequence[float], rule: Rule) -> Finding | None:
    """Return a finding where a value lies far from at least six earlier ones, all above zero, in its own unit.

    z = (lg x − median) / s on the logarithmic scale, s being the median of absolute deviations as a standard deviation,
    but at least the value's own standard uncertainty (k = 2). High alone is judged where the value is below its limit.
    """
    known = [value for value in earlier if value > 0]
    x = seen.detection_limit if seen.is_below else seen.value
    if len(known) < LEAST_EARLIER or not x > 0:
        return None
    logs = np.log10(np.asarray(known, dtype=np.float64))
    own = seen.expanded_u / 2 / x / log(10)
    s = max(median_deviation(logs.tolist()), own)
    z = (log10(x) - float(np.median(logs))) / s if s > 0 else 0.0
    limit = rule.high or FAR
    if abs(z) <= limit or (seen.is_below and z > 0):
        return None
    words = (
        f"{_said(seen)} does not fit {len(known)} earlier samples, {min(known):.3g} to {max(known):.3g} {seen.unit}"
        f" with a median of {10 ** float(np.median(logs)):.3g}: z = {z:.1f} on a logarithmic scale, beyond {limit:.3g}."
    )
    return _found((seen.key,), words, rule)


def ratio_outside(values: Sequence[Seen], rule: Rule) -> Finding | None:
    """Return a finding where the ratio of the rule's two elements in one sample lies outside low..high beyond its U.

    U of the ratio is the ratio times √((U₁/x₁)² + (U₂/x₂)²) (JCGM 100:2008, 5.1.6). Nothing is said of what is below a
    detection limit.
    """
    by_element = {seen.element: seen for seen in values if not seen.is_below and seen.value > 0}
    if len(rule.elements) != 2 or not set(rule.elements) <= set(by_element):
        return None
    above, below = (by_element[element] for element in rule.elements)
    one, other = _alike_mass(above, below)
    if one is None or other is None:
        return None
    ratio = one.value / other.value
    u = ratio * hypot(one.expanded_u / one.value, other.expanded_u / other.value)
    if not _outside(ratio, u, rule):
        return None
    words = f"{above.element} : {below.element} is {ratio:.3g} ± {u:.2g}: expected {_bounds(rule)}."
    return _found((above.key, below.key), words, rule)


def _found(keys: tuple[int, ...], words: str, rule: Rule) -> Finding:
    return Finding(keys, words, rule.name, rule.source)


def _apart(one: Seen, other: Seen) -> bool:
    """Whether two values in one unit differ beyond both uncertainties."""
    if one.is_below and other.is_below:
        return False
    for below, above in ((one, other), (other, one)):
        if below.is_below:
            return above.value - above.expanded_u > below.detection_limit
    return abs(one.value - other.value) > hypot(one.expanded_u, other.expanded_u)


def _alike(one: Seen, other: Seen) -> tuple[Seen | None, Seen | None]:
    """The same two, the second as the first is reported; None, None where no factor leads from one to the other."""
    if one.element != other.element or one.basis != other.basis:
        return None, None
    try:
        as_element = compound_factor(other.reported_as, other.element)
        as_first = compound_factor(one.reported_as, one.element) / as_element
        return one, _times(other, float(factor(other.unit, one.unit)) * as_first, one)
    except CalculationError:
        return None, None


def _alike_mass(one: Seen, other: Seen) -> tuple[Seen | None, Seen | None]:
    """Two elements, both as elements and in the unit of the first."""
    try:
        first = _times(one, 1 / compound_factor(one.reported_as, one.element), one)
        ours = float(factor(other.unit, one.unit)) / compound_factor(other.reported_as, other.element)
        return first, _times(other, ours, one)
    except CalculationError:
        return None, None


def _times(seen: Seen, by: float, like: Seen) -> Seen:
    return replace(
        seen, reported_as=like.reported_as, unit=like.unit, value=seen.value * by,
        expanded_u=seen.expanded_u * by, detection_limit=seen.detection_limit * by,
    )  # fmt: skip


def _outside(value: float, u: float, rule: Rule) -> bool:
    is_low = rule.low is not None and value + u < rule.low
    return is_low or (rule.high is not None and value - u > rule.high)


def _bounds(rule: Rule) -> str:
    if rule.low is None:
        return f"at most {rule.high:g}"
    return f"at least {rule.low:g}" if rule.high is None else f"{rule.low:g} to {rule.high:g}"


def _said(seen: Seen) -> str:
    if seen.is_below:
        return f"below {seen.detection_limit:.3g} {seen.unit}"
    return f"{seen.value:.4g} ± {seen.expanded_u:.2g} {seen.unit}"
