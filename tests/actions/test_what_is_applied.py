"""What a file has applied already is not applied again; what the method asks for reaches the result."""

from dataclasses import replace
from datetime import date

import pytest

from labresults.actions.evaluation import compute, evaluate_run
from labresults.actions.methods import save_layout
from labresults.acts import WrongState
from labresults.models import Result, Run
from labresults.readers.layout import Applied
from labresults.terms import BlankRule, DriftRule, Role
from tests.builders import (
    LONG,
    Laboratory,
    a_method,
    a_reading_file,
    a_run,
    a_submission,
    a_weighed_batch,
    an_imported_file,
)

BY_POSITION = {"drift_rule": DriftRule.BY_POSITION, "drift_limit_percent": 10.0}


def planned(lab: Laboratory, **changes: object) -> Run:
    """A run of six samples by a version of the method with these changes."""
    lab.version = a_method(lab.people["quality manager"], valid_from=date(2026, 1, 2), **changes)  # type: ignore[arg-type]
    return a_run(lab, a_weighed_batch(lab, a_submission(lab, 6)))


@pytest.mark.parametrize(
    ("applied", "changes", "refused"),
    [
        (Applied.DRIFT, BY_POSITION, True),
        (Applied.DRIFT, {}, False),
        (Applied.BLANK, {"blank_rule": BlankRule.SUBTRACT}, True),
        (Applied.BLANK, {}, False),
        (Applied.PORTION, {}, True),
    ],
    ids=["drift", "drift not of the method", "blank", "blank not of the method", "portion"],
)
def test_what_is_in_the_readings_already_is_not_applied_again(
    lab: Laboratory, applied: Applied, changes: dict[str, object], refused: bool
) -> None:
    # given a layout that says so
    run = planned(lab, **changes)
    specification = replace(LONG, name="applied before", applied=frozenset({applied}))
    lab.layout = save_layout(by=lab.people["quality manager"], at=lab.later(), specification=specification)
    an_imported_file(lab, run)
    # when, then
    if refused:
        with pytest.raises(WrongState, match=f"{applied.value} is in the readings already"):
            compute(run=run)
    else:
        assert compute(run=run).evaluated.results


def drifted(run: Run, gain: float) -> bytes:
    """The run's file, of which everything after the first check has gained so much from there to the last position."""
    numbers = {position.label: position.number for position in run.positions.all()}
    first = run.positions.filter(role=Role.INITIAL_VERIFICATION).get().number
    span = max(numbers.values()) - first
    factors = {
        (label, element): 1.0 + gain * max(number - first, 0) / span
        for label, number in numbers.items()
        for element in ("Cu", "Pb")
    }
    return a_reading_file(run, factors=factors)


@pytest.mark.parametrize(("changes", "found"), [(BY_POSITION, 120.0), ({}, None)], ids=["corrected", "not corrected"])
def test_a_drift_between_the_checks_is_corrected_where_the_method_says_so(
    lab: Laboratory, changes: dict[str, object], found: float | None
) -> None:
    run = planned(lab, **changes)
    an_imported_file(lab, run, drifted(run, 0.06))
    evaluation = evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    values = [
        result.value
        for result in Result.objects.filter(evaluation=evaluation, element="Cu", position__role=Role.SAMPLE)
    ]
    if found is not None:
        assert values == pytest.approx([found] * 6)
    else:
        assert min(value or 0.0 for value in values) > 120.5


def test_a_drift_in_time_needs_times(lab: Laboratory) -> None:
    run = planned(lab, drift_rule=DriftRule.BY_TIME, drift_limit_percent=10.0)
    an_imported_file(lab, run)  # its layout has no times
    evaluation = evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    results = Result.objects.filter(evaluation=evaluation, position__role=Role.SAMPLE)
    assert {result.value for result in results} == {None}
    assert all("Load a file with times, or correct by position." in result.why_no_value for result in results)
