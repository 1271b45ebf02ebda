"""A delivery before it is logged: its rows, and everything that is wrong with them."""

from collections.abc import Mapping, Sequence
from datetime import date

from labresults.models import Matrix
from labresults.queries.methods import current_versions
from labresults.readers.delivery import DeliveredSample, check_delivery
from labresults.readers.problem import Problem


def delivered(rows: Sequence[Mapping[str, str]]) -> tuple[DeliveredSample, ...]:
    """Rows of texts (fields of DeliveredSample) as the check and the act take them; no query."""
    return tuple(DeliveredSample(row=number, **row) for number, row in enumerate(rows, start=1))


def problems_of(rows: Sequence[DeliveredSample], on: date) -> tuple[Problem, ...]:
    """Every problem of the rows, with the matrices and methods that are known on a day; two queries."""
    matrices = set(Matrix.objects.values_list("name", flat=True))
    return check_delivery(rows, matrices=matrices, methods=current_versions(on))
