"""The factors of the chain for many portions and determinations at once, bit for bit those of each one alone."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from labresults.calculation.errors import CalculationError
from labresults.calculation.preparation import chain_factor, content_factor, report_links
from labresults.calculation.run import Array, Determination, Portion

Factors = tuple[tuple[float, float], ...]
"""Multiplier and divisor of each link."""


@dataclass(frozen=True)
class ChainFactors:
    """What concentrations are multiplied by: factor is [portion x determination], NaN where the chain cannot be
    followed; why_not says why, by portion and determination."""

    factor: Array
    why_not: Mapping[tuple[int, int], str]


def chain_factors(
    portions: Sequence[Portion],
    dilutions: Sequence[float],
    determinations: Sequence[Determination],
    *,
    solution_unit: str,
) -> ChainFactors:
    """Return `chain_factor` of each portion, diluted at the instrument by its own factor, for each determination.

    The links behind the content are the same for portions of one kind, state, basis, moisture and density: they are
    looked up once, and multiplied in the same order as for one portion alone.
    """
    content, refused = _contents(portions, dilutions, solution_unit)
    factor = np.full((len(portions), len(determinations)), np.nan)
    for rows in _alike(portions):
        for column, determination in enumerate(determinations):
            links = _report_factors(portions[rows[0]], determination)
            if links is None:
                continue
            running = content[rows]
            for multiplier, divisor in links:
                running = running * multiplier / divisor
            factor[rows, column] = running
    why_not = {
        (row, column): refused.get(row)
        or _why_not(portions[row], dilutions[row], determinations[column], solution_unit)
        for row, column in np.argwhere(np.isnan(factor)).tolist()
    }
    return ChainFactors(factor, why_not)


def _contents(
    portions: Sequence[Portion], dilutions: Sequence[float], solution_unit: str
) -> tuple[Array, dict[int, str]]:
    """Return the factor to the content of each portion as weighed, NaN where there is none, and why not."""
    content, refused = np.full(len(portions), np.nan), dict[int, str]()
    for row, (portion, dilution) in enumerate(zip(portions, dilutions, strict=True)):
        try:
            content[row] = content_factor(portion, solution_unit=solution_unit, dilution=dilution)
        except CalculationError as error:
            refused[row] = str(error)
    return content, refused


def _alike(portions: Sequence[Portion]) -> list[list[int]]:
    """Rows of portions whose content goes on to the report by the same links."""
    groups: dict[tuple[object, ...], list[int]] = {}
    for row, portion in enumerate(portions):
        key = (portion.kind, portion.basis, portion.state, portion.moisture_percent, portion.density_kg_per_L)
        groups.setdefault(key, []).append(row)
    return list(groups.values())


def _report_factors(portion: Portion, determination: Determination) -> Factors | None:
    try:
        return tuple((link.multiplier, link.divisor) for link in report_links(portion, determination))
    except CalculationError:
        return None


def _why_not(portion: Portion, dilution: float, determination: Determination, solution_unit: str) -> str:
    try:
        chain_factor(portion, determination, solution_unit=solution_unit, dilution=dilution)
    except CalculationError as error:
        return str(error)
    return ""
