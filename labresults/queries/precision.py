"""What duplicates and reference materials of evaluated runs say of a method's lines."""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, stdev
from typing import Any

from labresults.calculation.bias import Bias, u_of_bias
from labresults.calculation.errors import CalculationError
from labresults.calculation.expected_precision import thompson_percent
from labresults.calculation.outliers import cochran, grubbs
from labresults.calculation.robust import median_deviation
from labresults.calculation.stoichiometry import compound_factor
from labresults.calculation.units import factor
from labresults.calculation.variance import one_way, sd_of_pairs
from labresults.models import Content, ControlOutcome, MethodLine, MethodVersion, Result
from labresults.queries.estimates import of_newest_evaluations
from labresults.terms import Measure, Role

MOST = 2_000
"""Outcomes that are looked at, the newest first."""

FEWEST = 6
"""Values of a kind from which on a spread is proposed for the next version (common practice, no source)."""


@dataclass(frozen=True)
class Duplicates:
    """Relative differences of duplicates at a line, %. `named`: the pair that Cochran's test (5 %) names."""

    count: int
    sd_percent: float
    robust_percent: float | None  # from the median; none where half of the pairs are the same
    named: str


@dataclass(frozen=True)
class Recoveries:
    """Recoveries of one reference material at a line, %. `named`: the value that Grubbs' test (5 %) names."""

    material: str
    count: int
    runs: int
    mean_percent: float
    sd_percent: float | None  # runs and repeats together (intermediate precision)
    u_reference_percent: float | None
    expected_percent: float | None  # spread expected between laboratories at this content (Thompson 2000)
    named: str


@dataclass(frozen=True)
class LinePrecision:
    """What is known of a line, and what the next version could say: both relative, [1]."""

    line: MethodLine
    duplicates: Duplicates | None
    recoveries: tuple[Recoveries, ...]
    u_precision: float | None
    u_bias: float | None


@dataclass(frozen=True)
class _Recovery:
    """One reference material found once: its content and what was found of it, %."""

    result: Result
    content: Content
    percent: float


def precision_of(version: MethodVersion, lines: Sequence[MethodLine]) -> list[LinePrecision]:
    """Precision and bias of each line, from the newest evaluations of this version's runs; three queries."""
    pairs = list(
        of_newest_evaluations(ControlOutcome.objects.filter(observed__isnull=False), version)
        .filter(measure=Measure.DIFFERENCE, position__role=Role.DUPLICATE)
        .select_related("evaluation__run", "position")
        .order_by("-pk")[:MOST]
    )
    found = _recovered(version)
    return [
        _of_line(
            line,
            [row for row in pairs if row.line_id == line.line_id],
            [each for each in found if each.result.line_id == line.line_id],
        )
        for line in lines
    ]


def _recovered(version: MethodVersion) -> list[_Recovery]:
    """Every reference material with a result and a certified value, the newest first; two queries."""
    results = list(
        of_newest_evaluations(Result.objects.filter(value__isnull=False), version)
        .filter(position__role=Role.REFERENCE_MATERIAL, position__lot__isnull=False)
        .select_related("evaluation__run", "position__lot__material")
        .order_by("-pk")[:MOST]
    )
    lots = {result.position.lot_id for result in results}
    rows = Content.objects.filter(lot__in=lots, dissolution__in=["", version.dissolution], value__gt=0)
    contents = {(content.lot_id, content.element_id): content for content in rows}
    found = []
    for result in results:
        content = contents.get((result.position.lot_id or 0, result.element_id))
        expected = _or_none(lambda c=content, r=result: _as_reported(c, r)) if content else None
        if content and expected:
            found.append(_Recovery(result, content, 100.0 * (result.value or 0.0) / expected))
    return found


def _as_reported(content: Content, result: Result) -> float:
    """A certified content as the method reports it. Raises UnlikeUnits where the two cannot be compared."""
    compound = compound_factor(result.reported_as, result.element_id)
    return content.value * compound * float(factor(content.unit, result.unit))


def _of_line(line: MethodLine, pairs: Sequence[ControlOutcome], found: Sequence[_Recovery]) -> LinePrecision:
    duplicates = _duplicates(pairs)
    by_material: dict[str, list[_Recovery]] = {}
    for each in found:
        if each.result.position.lot:
            by_material.setdefault(each.result.position.lot.material.code, []).append(each)
    recoveries = tuple(_recoveries(code, of) for code, of in sorted(by_material.items()))
    return LinePrecision(line, duplicates, recoveries, _u_precision(duplicates, recoveries), _u_bias(recoveries))


def _duplicates(rows: Sequence[ControlOutcome]) -> Duplicates | None:
    if not rows:
        return None
    differences = [row.observed or 0.0 for row in rows]
    robust = _or_none(lambda: median_deviation([sign * d for d in differences for sign in (1.0, -1.0)]))
    named = _or_none(lambda: cochran([d * d / 2.0 for d in differences], 2))
    return Duplicates(
        count=len(rows),
        sd_percent=sd_of_pairs(differences),
        robust_percent=robust / 2**0.5 if robust else None,
        named=_place(rows[named.index], differences[named.index]) if named and named.is_outlying else "",
    )


def _recoveries(code: str, found: Sequence[_Recovery]) -> Recoveries:
    values = [each.percent for each in found]
    by_run: dict[int, list[float]] = {}
    for each in found:
        by_run.setdefault(each.result.evaluation.run_id, []).append(each.percent)
    split = _or_none(lambda: one_way(list(by_run.values())))
    named = _or_none(lambda: grubbs(values))
    content = found[0].content
    return Recoveries(
        material=code,
        count=len(values),
        runs=len(by_run),
        mean_percent=fmean(values),
        sd_percent=split.sd_all if split else stdev(values) if len(values) > 1 else None,
        u_reference_percent=100.0 * content.u / content.value if content.u else None,
        expected_percent=_or_none(
            lambda: thompson_percent(content.value * float(factor(content.unit, "g/kg")) / 1000.0)
        ),
        named=_place(found[named.index].result, values[named.index]) if named and named.is_outlying else "",
    )


def _u_precision(duplicates: Duplicates | None, recoveries: Sequence[Recoveries]) -> float | None:
    """Intermediate precision of the material that was measured in most runs; else repeatability of duplicates."""
    known = [each for each in recoveries if each.sd_percent is not None and each.runs >= FEWEST]
    if known:
        return (max(known, key=lambda each: each.runs).sd_percent or 0.0) / 100.0
    return duplicates.sd_percent / 100.0 if duplicates and duplicates.count >= FEWEST else None


def _u_bias(recoveries: Sequence[Recoveries]) -> float | None:
    known = [
        Bias(each.mean_percent - 100.0, each.u_reference_percent, each.sd_percent or 0.0, each.count)
        for each in recoveries
        if each.u_reference_percent is not None and each.count >= FEWEST
    ]
    return u_of_bias(known) / 100.0 if known else None


def _or_none(compute: Any) -> Any:
    """What a calculation gives; None where it has too few values or none that differ."""
    try:
        return compute()
    except CalculationError:
        return None


def _place(row: ControlOutcome | Result, percent: float) -> str:
    return f"{row.evaluation.run.number}, position {row.position.number}: {percent:.4g} %"
