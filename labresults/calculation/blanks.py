"""Subtraction of the method blank, for methods that ask for it.

EPA Method 6010D (2018), 9.7.1, judges the method blank and never subtracts it; other methods do. The method says which.
"""

from collections.abc import Mapping, Sequence

import numpy as np

from labresults.calculation.run import Array, Position
from labresults.terms import Role

CARRIES_BLANK = frozenset(
    {
        Role.CONTROL_SAMPLE,
        Role.REFERENCE_MATERIAL,
        Role.DUPLICATE,
        Role.SPIKE,
        Role.SERIAL_DILUTION,
        Role.SAMPLE,
    }
)
"""Roles that went through the preparation, so that the blank of their batch is in them."""


def total_dilution(position: Position) -> float:
    """Return the whole dilution of a position [1]: its portion's own, times what was made at the instrument."""
    return position.dilution * (position.portion.dilution if position.portion else 1.0)


def as_made_up(position: Position) -> float:
    """Return what a concentration is multiplied by to be an amount in the solution as made up, mL times dilution.

    Where no volume was entered (a portion diluted by mass), only the dilution counts.
    """
    volume_mL = position.portion.volume_mL if position.portion else None
    return total_dilution(position) * (volume_mL if volume_mL is not None else 1.0)


def blank_means(positions: Sequence[Position], concentration: Array) -> Mapping[str, Array]:
    """Return for each batch the mean amount in its method blanks, [line], as `as_made_up` counts it.

    concentration : [position x line]. A blank that was not read is left out; NaN where none was read.
    """
    amounts: dict[str, list[Array]] = {}
    for index, position in enumerate(positions):
        if position.role is Role.METHOD_BLANK and position.portion is not None:
            amounts.setdefault(position.portion.batch, []).append(concentration[index] * as_made_up(position))
    return {batch: _mean(np.stack(rows)) for batch, rows in amounts.items()}


def _mean(rows: Array) -> Array:
    count = np.isfinite(rows).sum(axis=0)
    return np.where(count > 0, np.nansum(rows, axis=0) / np.maximum(count, 1), np.nan)


def subtract(positions: Sequence[Position], concentration: Array) -> Array:
    """Return concentrations, [position x line], less the mean method blank of their batch.

    The blank is scaled by volume and dilution, so that ten times diluted solutions lose a tenth of it. NaN for what
    carries a blank and whose batch has none in the run. Positions that carry no blank stay as they are.
    """
    means = blank_means(positions, concentration)
    result = concentration.copy()
    for index, position in enumerate(positions):
        if position.role in CARRIES_BLANK and position.portion is not None:
            amount = means.get(position.portion.batch)
            blank = np.nan if amount is None else amount / as_made_up(position)
            result[index] = concentration[index] - blank
    return result
