"""Subtraction of the method blank, for methods that ask for it.

EPA Method 6010D (2018), 9.7.1, judges the method blank and never subtracts it; other methods do. The method says which.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from labresults.calculation.run import Array, Position
from labresults.terms import Role

CARRIES_BLANK = frozenset(
    {
        Role.CONTROL_SAMPLE,
        Role.REFERENCE_MATERIAL,
        Role.DUPLICATE,
        Role.SPIKE,
        Role.SERIAL_DILUTION,
        Role.POST_DIGESTION_SPIKE,
        Role.SAMPLE,
    }
)
"""Roles that went through the preparation, so that the blank of their batch is in them."""


def carries_blank(position: Position) -> bool:
    """Return whether the blank of a batch is in what stands at a position."""
    return position.role in CARRIES_BLANK and position.portion is not None


def total_dilution(position: Position) -> float:
    """Return the whole dilution of a position [1]: its portion's own, times what was made at the instrument."""
    return position.dilution * (position.portion.dilution if position.portion else 1.0)


def as_made_up(position: Position) -> float:
    """Return what a concentration is multiplied by to be an amount in the solution as made up, mL times dilution.

    Where no volume was entered (a portion diluted by mass), only the dilution counts.
    """
    volume_mL = position.portion.volume_mL if position.portion else None
    return total_dilution(position) * (volume_mL if volume_mL is not None else 1.0)


@dataclass(frozen=True)
class Blank:
    """The method blank of a batch as an amount, [line], as `as_made_up` counts it, with its standard uncertainty."""

    mean: Array
    u: Array
    count: NDArray[np.int64]


def blanks_of(positions: Sequence[Position], concentration: Array, u: Array, rules: int) -> Mapping[str, Blank]:
    """Return for each batch what its method blanks hold in the mean.

    concentration, u : of the blanks' solutions, [position x line]. A blank that was not read is left out; NaN where
    none was read. The uncertainty of a mean of several is s/sqrt(n) (JCGM 100:2008 (GUM), 4.2.3); of a single one, what
    its own reading has. By the first edition of the rules the blanks are summed in the order of the run.
    """
    amounts: dict[str, list[tuple[Array, Array]]] = {}
    for index, position in enumerate(positions):
        if position.role is Role.METHOD_BLANK and position.portion is not None:
            scale = as_made_up(position)
            amounts.setdefault(position.portion.batch, []).append((concentration[index] * scale, u[index] * scale))
    return {
        batch: _blank(np.stack([amount for amount, _ in rows]), np.stack([each for _, each in rows]), rules)
        for batch, rows in amounts.items()
    }


def _blank(amounts: Array, u: Array, rules: int) -> Blank:
    if rules > 1:  # the same bits in whatever order the blanks stand
        order = np.argsort(amounts, axis=0, kind="stable")
        amounts, u = np.take_along_axis(amounts, order, axis=0), np.take_along_axis(u, order, axis=0)
    read = np.isfinite(amounts)
    count = read.sum(axis=0)
    mean = np.where(count > 0, np.nansum(amounts, axis=0) / np.maximum(count, 1), np.nan)
    squares = np.nansum((amounts - mean) ** 2, axis=0)
    of_mean = np.sqrt(squares / (np.maximum(count - 1, 1) * np.maximum(count, 1)))
    own = np.nansum(np.where(read, u, 0.0), axis=0)  # of the only one
    only_unknown = (read & ~np.isfinite(u)).any(axis=0)
    of_one = np.where(only_unknown, np.nan, own)
    return Blank(mean, np.where(count > 1, of_mean, np.where(count == 1, of_one, np.nan)), count)


def subtract(positions: Sequence[Position], concentration: Array, u: Array, rules: int) -> tuple[Array, Array]:
    """Return concentrations, [position x line], less the mean method blank of their batch, and what u that blank has.

    The blank is scaled by volume and dilution, so that ten times diluted solutions lose a tenth of it. NaN for what
    carries a blank and whose batch has none in the run. Positions that carry no blank stay as they are; the
    uncertainty of the blank is NaN there.
    """
    blanks = blanks_of(positions, concentration, u, rules)
    result, u_blank = concentration.copy(), np.full_like(concentration, np.nan)
    for index, position in enumerate(positions):
        if position.role in CARRIES_BLANK and position.portion is not None:
            blank = blanks.get(position.portion.batch)
            scale = as_made_up(position)
            result[index] = concentration[index] - (np.nan if blank is None else blank.mean / scale)
            u_blank[index] = np.nan if blank is None else blank.u / scale
    return result, u_blank
