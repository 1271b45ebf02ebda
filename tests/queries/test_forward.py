"""Forward from a person, and the file of what was touched: nothing is left out, and no number is spoilt."""

import csv
from collections.abc import Callable
from datetime import timedelta

import pytest

from labresults.models import Person, Submission
from labresults.queries.forward import Doubt, touched_results
from labresults.queries.forward_pages import results_file
from labresults.terms import DoubtKind
from tests.actions.test_signatures import TAKING_PART, may_do_everything
from tests.builders import NOW, Laboratory, a_submission, an_evaluated_run


def touched_by(who: Person, submission: Submission, **period: object) -> int:
    doubt = Doubt(DoubtKind.PERSON, who.username, **period)  # type: ignore[arg-type]
    return touched_results(doubt).filter(sample__submission=submission).count()


@pytest.mark.parametrize("take_part", [one for one, _ in TAKING_PART], ids=[one.__name__ for one, _ in TAKING_PART])
def test_whatever_keeps_somebody_from_approving_is_found_from_them(
    take_part: Callable[[Laboratory, Person], Submission], lab: Laboratory
) -> None:
    # given somebody who did one thing for these results, of those that make them own work at review
    who = may_do_everything(lab)
    submission = take_part(lab, who)
    # then the results are found from that person, in the time in which it was done
    assert touched_by(who, submission) > 0
    assert touched_by(who, submission, until=lab.clock) > 0
    assert touched_by(who, submission, since=lab.clock + timedelta(days=30)) == 0
    assert touched_by(who, submission, until=NOW - timedelta(days=30)) == 0


def test_whoever_did_nothing_touched_nothing(lab: Laboratory) -> None:
    who = may_do_everything(lab)
    submission = a_submission(lab, 1)
    an_evaluated_run(lab, submission)
    assert touched_by(who, submission) == 0


def rows_of(lab: Laboratory, submission: Submission, **reading: object) -> list[dict[str, str]]:
    evaluation = an_evaluated_run(lab, submission, **reading)
    lines = "".join(results_file(Doubt(DoubtKind.RUN, evaluation.run.number)))
    return list(csv.DictReader(lines.splitlines()))


def test_a_negative_number_stays_a_number_and_says_that_it_is_below_its_limit(lab: Laboratory) -> None:
    # given a solution that reads a little below the blank
    rows = rows_of(lab, a_submission(lab, 1), factors={("KF26-00001", "Cu"): -0.002})
    copper = next(row for row in rows if row["analyte"] == "Cu")
    # then a program reads -0.24 mg/kg, the limit beside it, and the mark
    assert float(copper["value"]) == pytest.approx(-0.24)  # 120 mg/kg x -0.002
    assert float(copper["detection limit"]) > 0
    assert "below detection limit" in copper["marks"]
    lead = next(row for row in rows if row["analyte"] == "Pb")
    assert (lead["marks"], float(lead["value"])) == ("", pytest.approx(35.0))


@pytest.mark.parametrize("name", ["=1+1", "+1", "-1", "@x", "'x"])
def test_a_text_that_a_spreadsheet_would_take_for_something_else_is_led_by_an_apostrophe(
    name: str, lab: Laboratory
) -> None:
    rows = rows_of(lab, a_submission(lab, 1, names=[name]))
    assert {row["client's own identification"] for row in rows} == {f"'{name}"}
