"""The lots behind a curve: everything that they were made from, in one query however many generations there are."""

from collections.abc import Callable
from typing import Any

import pytest

from labresults.actions.materials import register_lot
from labresults.models import Lot, Position
from labresults.queries.trace_materials import lots_of
from tests.builders import NOW, Laboratory, a_submission, an_evaluated_run

Queries = Callable[[int], Any]


def older(lab: Laboratory, of: Lot, generations: int) -> list[str]:
    """Give a lot so many generations of what it was made from; their numbers, the youngest first."""
    made: Lot | None = None
    numbers = [f"G-{generation}" for generation in range(1, generations + 1)]
    for number in reversed(numbers):
        made = register_lot(
            by=lab.people["quality manager"], at=NOW, number=number, material=of.material, made_from=made,
            received_on=of.received_on, expires_on=of.expires_on,
            contents=[{"element": "Cu", "value": 1000.0, "unit": "mg/L"}],
        )  # fmt: skip
    Lot.objects.filter(pk=of.pk).update(made_from=made)
    return numbers


@pytest.fixture
def standards(lab: Laboratory) -> list[Position]:
    """Positions of a curve of three standards, L-2201 to L-2203."""
    run = an_evaluated_run(lab, a_submission(lab, 1)).run
    return list(run.positions.filter(lot__number__in=["L-2201", "L-2202", "L-2203"]).order_by("number"))


@pytest.mark.parametrize("generations", [1, 7])
def test_all_generations_come_in_one_query(
    generations: int, lab: Laboratory, standards: list[Position], django_assert_num_queries: Queries
) -> None:
    numbers = older(lab, Lot.objects.get(number="L-2202"), generations)
    with django_assert_num_queries(1):
        curve, reagents = lots_of(standards, None)
        made_by = {str(lot): lot.made_by.username for lot in curve}
    assert list(made_by) == [*numbers, "L-2201", "L-2202", "L-2203"]
    assert reagents == []
    counted = {str(lot): getattr(lot, "run_count", None) for lot in curve}
    assert counted == dict.fromkeys(numbers, 0) | dict.fromkeys(["L-2201", "L-2202", "L-2203"], 1)


def test_lots_that_name_each_other_end(lab: Laboratory, standards: list[Position]) -> None:
    """Nobody can enter it, and somebody's database may hold it: it is said once, and the page is there."""
    older(lab, Lot.objects.get(number="L-2201"), 2)
    Lot.objects.filter(number="G-2").update(made_from=Lot.objects.get(number="L-2201"))
    assert [str(lot) for lot in lots_of(standards, None)[0]] == ["G-1", "G-2", "L-2201", "L-2202", "L-2203"]


def test_reagents_stand_apart_and_nothing_is_asked_of_no_curve(lab: Laboratory, standards: list[Position]) -> None:
    portion = standards[0].run.positions.filter(portion__isnull=False).earliest("number").portion
    acid = Lot.objects.get(number="L-2300")
    portion.batch.reagents.add(acid)
    curve, reagents = lots_of([], portion)
    assert (curve, reagents) == ([], [acid])
