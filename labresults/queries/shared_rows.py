"""Rows that many results share, each read once and given to all of them.

A join would make a row of its own for each result: of 50,000 results of one run as many evaluations, each with its list
of proposed repeats, which was 40 GB of memory.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Any

from labresults.models import (
    ControlOutcome,
    Evaluation,
    Line,
    Position,
    Result,
    Sample,
)

AT_ONCE = 30_000
"""So many keys are asked for in one query: SQLite takes 32,766 of them where it is built as it comes (SQLite, Limits
In SQLite, 9), and a submission that was measured again and again has more results than that.
"""


def give_shared(results: Collection[Result], *of_position: str) -> None:
    """Give results their evaluation with its run, method version and method, their position, and their line.

    of_position: what the position is joined with. Three queries, one more for each further `AT_ONCE` positions; none
    without results.
    """
    give_evaluations(results)
    give_positions(results, *of_position)
    give(results, "line", by_key(Line.objects.all(), (row.line_id for row in results)))


def give_evaluations(rows: Collection[Result] | Collection[ControlOutcome], *of_evaluation: str) -> None:
    """Give results or outcomes their evaluation with its run, method version and method; one query, or none.

    of_evaluation: what it is joined with besides.
    """
    known = Evaluation.objects.select_related("run__method_version__method", *of_evaluation)
    known = known.defer("repeats", "counted", "left_out")
    give(rows, "evaluation", by_key(known, (row.evaluation_id for row in rows)))


def give_positions(results: Collection[Result], *of_position: str) -> None:
    """Give results their position and what it is joined with; one query for `AT_ONCE` positions, or none."""
    positions = Position.objects.select_related(*of_position) if of_position else Position.objects.all()
    give(results, "position", by_key(positions, (row.position_id for row in results)))


def give_samples(results: Collection[Result], *of_sample: str) -> None:
    """Give results their sample, where they are of one, and what it is joined with; one query for `AT_ONCE` samples."""
    known = Sample.objects.select_related(*of_sample)
    give(results, "sample", by_key(known, (row.sample_id for row in results if row.sample_id)))


def by_key(rows: Any, keys: Iterable[Any]) -> dict[Any, Any]:
    """The rows of a query by their keys, in their order; one query for `AT_ONCE` keys, none for none."""
    return {row.pk: row for some in in_parts(keys) for row in rows.filter(pk__in=some)}


def in_parts(keys: Iterable[Any], times: int = 1) -> Iterator[list[Any]]:
    """Keys, each once and in their order, so many together as one query takes. times: how often it names them."""
    ordered, size = sorted(set(keys)), AT_ONCE // times
    for first in range(0, len(ordered), size):
        yield ordered[first : first + size]


def give(rows: Iterable[Any], name: str, known: Mapping[Any, Any]) -> None:
    """Give each row what it refers to by `name`, as a join would have; what is not there is left to be asked for."""
    key = f"{name}_id"
    for row in rows:
        if (of := known.get(getattr(row, key))) is not None:
            row._state.fields_cache[name] = of
