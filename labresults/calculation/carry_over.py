"""Carry-over: a low position after a very high one may still see something of it (common practice, no source).

A rinse between the two resets it, since only the position measured just before counts.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from labresults.calculation.quality_control import TOLERANCE
from labresults.calculation.run import Array, LineSpecification, RunTable

SHARE_OF_OWN = 0.1
"""What is carried over counts from this share of the position's own reading on (common practice, no source)."""


def sizes_before(run: RunTable, read: Array, tops: Array) -> Array:
    """Return what the position measured just before read, [position x line]; NaN at the first one of a block.

    read : through the curve, NaN where saturated: such a reading counts as the top of the working range, tops.
    """
    size = np.where(run.saturated, tops, read)
    before = np.full_like(size, np.nan)
    before[1:] = size[:-1]
    blocks = [position.block for position in run.positions]
    before[[row for row in range(1, len(blocks)) if blocks[row] != blocks[row - 1]]] = np.nan
    return before


def find_carried(
    before: Array, read: Array, limits: Array, lines: Mapping[int, LineSpecification]
) -> NDArray[np.bool_]:
    """Return where a reading may hold something of the position before it, [position x line].

    It may where the line's share of the reading before (any role, same block) is at least one quantification limit,
    and at least a tenth of the position's own reading. Of a position that was not read nothing is known, so that
    nothing is carried from it. before : `sizes_before`; read, limits : the reading and the quantification limit; all
    [position x line], in the solution unit. lines : by column; those without a share carry nothing.
    """
    share = np.full(read.shape[1], np.nan)
    for column, line in lines.items():
        share[column] = np.nan if line.carry_over is None else line.carry_over
    carried = share * before
    return _reaches(carried, limits) & _reaches(carried, SHARE_OF_OWN * read)


def _reaches(value: Array, bound: Array) -> NDArray[np.bool_]:
    """Return whether value >= bound, the bound included even where binary arithmetic misses it."""
    return np.asarray(value + TOLERANCE * np.abs(bound) >= bound)
