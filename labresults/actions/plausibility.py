"""Rules of plausibility, entered as data: what must fit together in samples of a matrix."""

from collections.abc import Sequence
from datetime import datetime

from labresults.acts import BadInput, Done, act
from labresults.models import Element, Matrix, Person, PlausibilityRule
from labresults.terms import PlausibilityKind

_NEEDS_BOUNDS = frozenset({PlausibilityKind.OXIDE_TOTAL, PlausibilityKind.RATIO})


@act("register_plausibility")
def register_plausibility(
    *,
    by: Person,
    at: datetime,
    reason: str,
    name: str,
    kind: PlausibilityKind,
    source: str,
    elements: Sequence[str] = (),
    matrix: Matrix | None = None,
    low: float | None = None,
    high: float | None = None,
    is_active: bool = True,
) -> Done[PlausibilityRule]:
    """Enter a rule; of one name the newest stands, and one that is not active ends it.

    elements: symbols, none for any. low, high: % for oxides, 1 for a ratio; high alone: % between duplicates, z beside
    earlier samples. matrix: None is any. Raises BadInput for a missing name or source, unknown or too few elements, and
    bounds that are missing or the wrong way round.
    """
    if not name.strip() or not source.strip():
        raise BadInput("A rule needs a name and its source: a publication, or: common practice, no source.")
    _refuse_bad_elements(kind, elements)
    _refuse_bad_bounds(kind, low, high)
    before = PlausibilityRule.objects.filter(name=name.strip()).order_by("pk").last()
    row = PlausibilityRule.objects.create(
        name=name.strip(), kind=kind, matrix=matrix, elements=list(elements), low=low, high=high,
        source=source.strip(), is_active=is_active, made_by=by, made_at=at,
    )  # fmt: skip
    return Done(
        row,
        subject=("plausibility rule", row.name),
        before=_said(before) if before else None,
        after=_said(row),
    )


def _refuse_bad_elements(kind: PlausibilityKind, elements: Sequence[str]) -> None:
    known = set(Element.objects.filter(symbol__in=elements).values_list("symbol", flat=True))
    unknown = [symbol for symbol in elements if symbol not in known]
    if unknown:
        raise BadInput(f"{', '.join(unknown)} is no element here. Write symbols, as Cu, Zn.")
    if kind == PlausibilityKind.RATIO and len(elements) != 2:
        raise BadInput("A ratio is of two elements, the upper one first.")


def _refuse_bad_bounds(kind: PlausibilityKind, low: float | None, high: float | None) -> None:
    given = [bound for bound in (low, high) if bound is not None]
    if any(not 0 <= bound < float("inf") for bound in given):
        raise BadInput("Bounds are numbers from zero up.")
    if kind in _NEEDS_BOUNDS and not given:
        raise BadInput(f"“{kind}” needs a lowest or a highest value that fits.")
    if low is not None and high is not None and low >= high:
        raise BadInput(f"The lowest that fits, {low:g}, must lie under the highest, {high:g}.")


def _said(row: PlausibilityRule) -> dict[str, object]:
    return {
        "kind": row.kind, "matrix": str(row.matrix or "any"), "elements": row.elements, "low": row.low,
        "high": row.high, "source": row.source, "active": row.is_active,
    }  # fmt: skip
