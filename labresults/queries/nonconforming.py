"""Nonconforming work, read: what is on hold, and one case with its steps. Each says how many queries it makes."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Subquery

from labresults.models import NonconformingResult, NonconformingStep, NonconformingWork, Result
from labresults.queries.forward import Doubt
from labresults.queries.shared_rows import in_parts
from labresults.terms import DoubtKind, NonconformingAct

_READ_THERE = "position__results"
_OF_ITS_PORTION = "position__portion__positions__results"
"""From a result to those read at the same position, and to those of the same portion, wherever it was read."""

BEFORE_READING = (DoubtKind.BATCH, DoubtKind.LOT, DoubtKind.MATERIAL, DoubtKind.EQUIPMENT, DoubtKind.PERSON)
"""Things that can have spoilt a portion before it was read: reading it again mends nothing of that. A standard is one
of them, though another one may mend it, since what it was used for is not looked at: a release says so, with a name."""

_HOLDING = (NonconformingAct.HOLD, NonconformingAct.RELEASE)


@dataclass(frozen=True)
class Case:
    """One case, with what was done about it, oldest first."""

    work: NonconformingWork
    steps: list[NonconformingStep]
    touched: int  # results, when it was opened
    samples: int

    @property
    def on_hold(self) -> bool:
        """Whether what it touched is held."""
        newest = next((step.act for step in reversed(self.steps) if step.act in _HOLDING), None)
        return newest == NonconformingAct.HOLD

    @property
    def closed(self) -> NonconformingStep | None:
        """The step that closed it."""
        return next((step for step in self.steps if step.act == NonconformingAct.CLOSE), None)


def doubt_of(work: NonconformingWork) -> Doubt:
    """What a case was found from, so that it can be asked again; no query."""
    return Doubt(DoubtKind(work.kind), work.name, work.period_from, work.period_to, work.element)


def held(results: Iterable[int]) -> dict[int, list[str]]:
    """Numbers of the cases that hold results, by the result's key; one query, or two while anything is on hold, one
    more for each further 15,000 results.

    A result is held where it was touched when the case was opened, and where it comes from the same position and line
    as one that was: evaluating the same readings again takes nothing off hold. Where the doubt may be about what came
    before the reading (`BEFORE_READING`), also where it is of the same portion and element: neither does another run.
    """
    holding = list(works_on_hold().values_list("pk", flat=True))
    found: dict[int, list[str]] = {}
    for some in in_parts(results, times=2) if holding else ():
        ways = [rows.values_list("pk", f"{work}__number") for rows, work in _touched(some, holding)]
        for pk, number in sorted(ways[0].union(*ways[1:])):
            found.setdefault(pk, []).append(number)
    return found


def cases_of(results: Iterable[int]) -> list[NonconformingWork]:
    """Every case that touched any of these results, newest first, as `works` gives them; one query."""
    at_place, of_portion = (Q(pk__in=rows.values(work)) for rows, work in _touched(results))
    return list(works().filter(at_place | of_portion))


def cases_printed(results: QuerySet[Any]) -> list[NonconformingWork]:
    """Every case that touched any of the results that a query gives the keys of, newest first; one query."""
    return list(works().filter(pk__in=NonconformingResult.objects.filter(result__in=results).values("work")))


def works() -> QuerySet[NonconformingWork]:
    """Cases, newest first: who opened them, how many results they touched, whether on hold or closed; one query."""
    steps = NonconformingStep.objects.filter(work=OuterRef("pk"))
    counted = NonconformingResult.objects.filter(work=OuterRef("pk")).order_by().values("work")
    return (
        NonconformingWork.objects.select_related("made_by")
        .annotate(
            result_count=Subquery(counted.annotate(n=Count("pk")).values("n")),
            is_on_hold=Exists(works_on_hold().filter(pk=OuterRef("pk"))),
            is_closed=Exists(steps.filter(act=NonconformingAct.CLOSE)),
        )
        .order_by("-pk")
    )


def works_on_hold() -> QuerySet[NonconformingWork]:
    """Cases of which the newest hold was not released; part of another query."""
    newest = NonconformingStep.objects.filter(work=OuterRef("pk"), act__in=_HOLDING).order_by("-pk")
    return NonconformingWork.objects.annotate(state=Subquery(newest.values("act")[:1])).filter(
        state=NonconformingAct.HOLD
    )


def open_works() -> list[NonconformingWork]:
    """Cases that nobody has closed; one query."""
    return list(works().filter(is_closed=False))


def case(number: str) -> Case:
    """One case; three queries. Raises NonconformingWork.DoesNotExist."""
    work = NonconformingWork.objects.select_related("made_by").get(number=number)
    counts = work.touched.aggregate(results=Count("pk"), samples=Count("result__sample", distinct=True))
    steps = list(work.steps.select_related("made_by").order_by("pk"))
    return Case(work, steps, counts["results"], counts["samples"])


def results_of(work: NonconformingWork) -> QuerySet[Result]:
    """Results that a case touched when it was opened; part of another query."""
    return Result.objects.filter(pk__in=work.touched.values("result"))


def _touched(results: Iterable[int], works: Sequence[int] | None = None) -> list[tuple[QuerySet[Result], str]]:
    """Those of the results that a case touched, or that share a position and line, or a portion and element, with one.

    For each of these two ways its rows, and the path from there to the case; parts of other queries. works: keys of
    cases; None is all.
    """
    keys = list(results)
    alike = {
        _READ_THERE: Q(**{f"{_READ_THERE}__line": F("line")}),
        _OF_ITS_PORTION: Q(**{f"{_OF_ITS_PORTION}__element": F("element")})
        & Q(**{f"{_OF_ITS_PORTION}__nonconforming__work__kind__in": BEFORE_READING}),
    }
    found = []
    for path, condition in alike.items():
        work = f"{path}__nonconforming__work"
        of_cases = Q(**{f"{work}__isnull": False}) if works is None else Q(**{f"{work}__in": works})
        found.append((Result.objects.filter(condition & of_cases, pk__in=keys), work))
    return found
