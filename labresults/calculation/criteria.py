"""Which criteria speak of a control sample, and what they make of what was observed."""

from dataclasses import dataclass, field
from itertools import groupby

from labresults.calculation.quality_control import figures, judge, span, unit_of
from labresults.calculation.run import ControlOutcome, Criterion, MethodSpecification
from labresults.terms import Measure, Role, Verdict


@dataclass(frozen=True)
class Observation:
    """What is judged: `observed` in the unit of the measure, `expected` in the unit that was compared; why in words.

    Without an observed number nothing is judged, unless `failed` says that it can only be wrong. near_limit: judged by
    the criterion's own bound near the quantification limit, and `observed` is in quantification limits.
    """

    observed: float | None
    expected: float | None
    why: str
    failed: bool = False
    near_limit: bool = False


@dataclass(frozen=True)
class Book:
    """The criteria of a method version, looked up once for each role and element."""

    method: MethodSpecification
    known: dict[tuple[Role, str], tuple[Criterion, ...]] = field(default_factory=dict)

    def speaking(self, role: Role, element: str) -> tuple[Criterion, ...]:
        """Return the criteria for a role and an element, as `criteria_for` does."""
        key = role, element
        if key not in self.known:
            self.known[key] = tuple(criteria_for(self.method, role, element))
        return self.known[key]


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


def judged(
    seen: Observation,
    criterion: Criterion,
    *,
    position: int,
    line: str,
    close_fraction: float,
    found: float | None = None,
) -> ControlOutcome:
    """Return what a criterion makes of an observation; what a failure touches is not filled in.

    position : its number. close_fraction : the outer part of the allowed span that is called close [1]. found : the
    concentration in the measured solution that it came of, after corrections, solution unit.
    """
    low, high, measure = criterion.low, criterion.high, criterion.measure
    if seen.near_limit:
        low, high, measure = None, criterion.near_limit_high, Measure.ABSOLUTE_DIFFERENCE
    if seen.observed is None:
        verdict, why = Verdict.OUTSIDE if seen.failed else Verdict.NOT_JUDGED, seen.why
    else:
        verdict = judge(seen.observed, low, high, close_fraction)
        sign = " %" if unit_of(measure) == "%" else ""
        shown = figures(seen.observed, low, high)
        why = f"{seen.why}: {shown}{sign}, allowed {span(low, high)}{sign}: {verdict.value}."
    return ControlOutcome(
        position=position,
        line=line,
        criterion=criterion.key,
        measure=measure,
        observed=seen.observed,
        expected=seen.expected,
        low=low,
        high=high,
        verdict=verdict,
        reach=criterion.reach,
        why=why,
        found=found,
    )
