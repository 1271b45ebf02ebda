"""Several lines of one element at one position, beside each other. Which one is reported stays a matter of its rank:
a disagreement is shown, never settled by choosing what fits better."""

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from labresults.calculation.result_table import ResultTable
from labresults.calculation.run import Disagreement, MethodSpecification
from labresults.terms import Mark


def mark_disagreements(table: ResultTable, method: MethodSpecification) -> tuple[ResultTable, tuple[Disagreement, ...]]:
    """Return the results with both lines marked wherever two of one element disagree, and each disagreement.

    The line that ranks first among those with a value is compared with each other one. They disagree where both are at
    or above their quantification limits, 100 |a − b| / mean is above `lines_agree_percent`, and |a − b| above the
    expanded uncertainty of the difference, k √(u_a² + u_b²) (JCGM 100:2008 (GUM), 5.1.2): two lines that cannot be told
    apart do not disagree. Nothing is compared where the method states no limit, or an uncertainty is not known.
    """
    if method.lines_agree_percent is None:
        return table, ()
    found, marks = [], np.zeros(table.value.shape, dtype=np.bool_)
    for first, other in _pairs(table):
        where = _disagree(table, first, other, method.lines_agree_percent)
        marks[where, first] = marks[where, other] = True
        found += [
            _disagreement(table, int(row), first, other, method.lines_agree_percent) for row in np.flatnonzero(where)
        ]
    rows = {position.number: row for row, position in enumerate(table.positions)}
    found.sort(key=lambda each: rows[each.position])
    return table.marked(marks, Mark.LINES_DISAGREE), tuple(found)


def _pairs(table: ResultTable) -> Iterator[tuple[int, int]]:
    """Columns of one element, two by two, the one that ranks higher first."""
    for columns in _by_element(table).values():
        for place, first in enumerate(columns):
            for other in columns[place + 1 :]:
                yield first, other


def _by_element(table: ResultTable) -> Mapping[str, list[int]]:
    found: dict[str, list[int]] = {}
    for column in sorted(range(len(table.lines)), key=lambda each: (table.lines[each].rank, table.lines[each].key)):
        found.setdefault(table.lines[column].element, []).append(column)
    return found


def _disagree(table: ResultTable, first: int, other: int, allowed_percent: float) -> NDArray[np.bool_]:
    """Where two columns disagree; none is compared with one that is not the first with a value."""
    a, b = table.value[:, first], table.value[:, other]
    held = (a >= table.quantification_limit[:, first]) & (b >= table.quantification_limit[:, other])
    difference = np.abs(a - b)
    apart = difference > table.coverage_factor * np.hypot(table.u[:, first], table.u[:, other])
    far = 100.0 * difference > allowed_percent * np.abs(a + b) / 2.0
    return np.asarray(held & apart & far & _leads(table, first))


def _leads(table: ResultTable, column: int) -> NDArray[np.bool_]:
    """Where no line of the element that ranks higher has a value."""
    line = table.lines[column]
    leads = np.ones(len(table.positions), dtype=np.bool_)
    for each in _by_element(table)[line.element]:
        if each == column:
            break
        leads &= np.isnan(table.value[:, each])
    return leads


def _disagreement(table: ResultTable, row: int, first: int, other: int, allowed_percent: float) -> Disagreement:
    a, b = float(table.value[row, first]), float(table.value[row, other])
    return Disagreement(
        position=table.positions[row].number,
        element=table.lines[first].element,
        chosen=table.lines[first].key,
        other=table.lines[other].key,
        value=a,
        other_value=b,
        difference_percent=100.0 * abs(a - b) / ((a + b) / 2.0),
        allowed_percent=allowed_percent,
    )
