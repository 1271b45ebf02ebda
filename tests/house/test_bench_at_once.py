"""Two people weighing into one batch at once: nothing lost, nothing double, on every database."""

from collections.abc import Callable
from typing import Any

import pytest

from labresults.actions.batches import begin_batch, discard_portion
from labresults.actions.people import authorise_person, enrol_person
from labresults.actions.weighings import Weighed, record_weighings
from labresults.acts import BadInput, WrongState
from labresults.models import AuditEvent, DiscardedPortion, Person, PreparationBatch, Weighing
from labresults.queries.history import broken_link
from labresults.terms import Role, Task
from tests.builders import NOW, PASSWORD, Laboratory, a_submission
from tests.house.test_concurrency import at_once

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def batch(lab: Laboratory) -> PreparationBatch:
    return begin_batch(
        by=lab.people["preparer"], at=lab.later(), method_version=lab.version, caution_read=True,
        samples=list(a_submission(lab, 20).samples.order_by("ordinal")),
    )  # fmt: skip


def another_preparer(lab: Laboratory) -> Person:
    other = enrol_person(
        by=lab.people["laboratory manager"], at=NOW, sign_in="second", full_name="Second Preparer", password=PASSWORD,
        roles=["preparer"],
    )  # fmt: skip
    authorise_person(by=lab.people["quality manager"], at=NOW, person=other, task=Task.PREPARE, valid_from=NOW.date())
    return other


def rows_of(batch: PreparationBatch, mass_g: float = 0.5, every: int = 1, first: int = 0) -> list[Weighed]:
    """Every so many tubes, as somebody who saw them empty sends them."""
    return [
        Weighed(p.label, None if p.role == Role.METHOD_BLANK else mass_g, 50.0, seen_version=0)
        for p in batch.portions.order_by("tube")[first::every]
    ]


def recording(
    lab: Laboratory, batch: PreparationBatch, rows: list[Weighed], by: Person | None = None
) -> Callable[[], Any]:
    at = lab.later()
    return lambda: record_weighings(by=by or lab.people["preparer"], at=at, batch=batch, rows=rows, balance=lab.balance)


def test_two_people_record_different_tubes_of_one_batch(lab: Laboratory, batch: PreparationBatch) -> None:
    # given two preparers, each with every other tube; when both send at once
    other = another_preparer(lab)
    came = at_once(
        recording(lab, batch, rows_of(batch, every=2)), recording(lab, batch, rows_of(batch, every=2, first=1), other)
    )
    # then all 23 tubes are recorded once, by whoever sent them
    assert [len(made) for made in came] == [12, 11]
    assert Weighing.objects.count() == 23
    assert set(Weighing.objects.values_list("version", flat=True)) == {1}
    assert Weighing.objects.filter(made_by=other).count() == 11
    assert AuditEvent.objects.filter(act="record_weighings").count() == 2
    assert broken_link() is None


def test_two_people_record_the_same_tube_with_different_masses(lab: Laboratory, batch: PreparationBatch) -> None:
    other = another_preparer(lab)
    came = at_once(
        recording(lab, batch, rows_of(batch, 0.5012)[2:3]), recording(lab, batch, rows_of(batch, 0.4987)[2:3], other)
    )
    refusals = [one for one in came if isinstance(one, BadInput)]
    assert len(refusals) == 1
    assert "meanwhile" in str(refusals[0].problems[0])
    assert Weighing.objects.count() == 1


def test_the_same_file_sent_three_times_at_once_is_recorded_once(lab: Laboratory, batch: PreparationBatch) -> None:
    came = at_once(*(recording(lab, batch, rows_of(batch)) for _ in range(3)))
    assert sum(isinstance(one, list) for one in came) == 1
    assert sum(isinstance(one, WrongState) for one in came) == 2
    assert Weighing.objects.count() == 23


def test_a_portion_is_discarded_once(lab: Laboratory, batch: PreparationBatch) -> None:
    lost = batch.portions.get(label="KF26-00004")

    def discard() -> Any:
        return discard_portion(by=lab.people["preparer"], at=NOW, reason="spilled", portion=lost)

    came = at_once(discard, discard)
    assert sum(isinstance(one, WrongState) for one in came) == 1
    assert DiscardedPortion.objects.count() == 1
    assert batch.portions.count() == 24
