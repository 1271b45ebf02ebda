"""Which selection counts: the newest of its sample, method and element, as a plain walk over all rows finds it."""

from datetime import datetime

import pytest

from labresults.actions.evaluation import evaluate_run, select_result
from labresults.models import Result, Selection
from labresults.queries.results import newest_selections
from tests.builders import Laboratory, a_reading_file, a_run, a_submission, a_weighed_batch, an_imported_file


def walked(*, but_of_run: int | None = None, until: datetime | None = None) -> dict[tuple[int, int, str], int]:
    """Keys of the selections that count, found one by one: a later row takes the place of an earlier one."""
    rows = Selection.objects.order_by("pk").select_related("result__evaluation")
    found = {
        (row.sample_id, row.method_id, row.element_id): row for row in rows if until is None or row.made_at <= until
    }
    return {key: row.pk for key, row in found.items() if row.result.evaluation.run_id != but_of_run}


@pytest.fixture
def moments(lab: Laboratory) -> list[datetime]:
    """Three samples in two runs, one of them evaluated anew, and one choice by hand; when each was done."""
    batch = a_weighed_batch(lab, a_submission(lab, 3))
    analyst, done = lab.people["analyst"], []
    runs = []
    for factor in (1.0, 1.02):
        runs.append(a_run(lab, batch))
        an_imported_file(lab, runs[-1], a_reading_file(runs[-1], factors={("KF26-00001", "Pb"): factor}))
        evaluate_run(by=analyst, at=lab.later(), run=runs[-1])
        done.append(lab.later())
    evaluate_run(by=analyst, at=lab.later(), run=runs[0], reason="spilled", left_out=[(3, "Cu 324.754")])
    done.append(lab.later())
    other = Result.objects.exclude(selections__isnull=False).filter(is_candidate=True).order_by("pk").first()
    assert other is not None
    select_result(by=analyst, at=lab.later(), reason="the better one", result=other)
    return [*done, lab.later()]


def test_the_newest_selection_of_each_group_counts(lab: Laboratory, moments: list[datetime]) -> None:
    samples = set(Selection.objects.values_list("sample", flat=True))
    runs = set(Selection.objects.values_list("result__evaluation__run", flat=True))
    for until in (None, *moments):
        for run in (None, *runs):
            found = newest_selections(sample_ids=samples, but_of_run=run, until=until)
            assert {key: row.pk for key, row in found.items()} == walked(but_of_run=run, until=until)
    assert Selection.objects.count() > len(walked())  # some were superseded


def test_only_the_samples_and_the_method_asked_for(lab: Laboratory, moments: list[datetime]) -> None:
    one = Selection.objects.order_by("pk")[0]
    found = newest_selections(sample_ids=[one.sample_id], method_id=one.method_id)
    assert {key: row.pk for key, row in found.items()} == {
        key: pk for key, pk in walked().items() if key[:2] == (one.sample_id, one.method_id)
    }
    assert not newest_selections(sample_ids=[one.sample_id], method_id=0)
