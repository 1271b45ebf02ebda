"""Samples of one submission, measured by two versions of a method: what may stand in one column, and what may not."""

from collections.abc import Mapping
from datetime import date
from typing import Any

import pytest

from labresults.actions.evaluation import evaluate_run
from labresults.acts import WrongState
from labresults.models import MethodVersion, Submission
from labresults.queries.readiness import readiness
from reports.actions.certificates import issue_certificate
from tests.actions.frozen import document_of
from tests.builders import (
    Laboratory,
    a_batch,
    a_method,
    a_reading_file,
    a_run,
    a_submission,
    an_imported_file,
    approved,
)


def measured_by_two(lab: Laboratory, **copper: Any) -> Submission:
    """The first of two samples by version 1, which gives Cu and Pb in mg/kg; the second by version 2."""
    submission = a_submission(lab, 2)
    first, second = submission.samples.order_by("ordinal")
    newer = a_method(lab.people["quality manager"], valid_from=date(2026, 2, 1), **copper)
    for sample, version in ((first, lab.version), (second, newer)):
        lab.version = version
        measure(lab, submission, version, sample, {"Cu": 600.0, "Pb": 35.0})
    return approved(lab, submission)


def measure(
    lab: Laboratory, submission: Submission, version: MethodVersion, sample: Any, contents: Mapping[str, float]
) -> None:
    run = a_run(lab, a_batch(lab, version, [sample]))
    an_imported_file(lab, run, a_reading_file(run, contents={sample.number: dict(contents)}))
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)


@pytest.mark.parametrize(
    ("copper", "words"),
    [
        ({"unit": "%"}, "Cu by AR-7 is Cu in mg/kg in KF26-00001, Cu in % in KF26-00002"),
        ({"reported_as": "CuO"}, "Cu by AR-7 is Cu in mg/kg in KF26-00001, CuO in mg/kg in KF26-00002"),
    ],
)
@pytest.mark.parametrize("preliminary", [False, True])
def test_two_units_or_forms_never_share_a_column(
    preliminary: bool, copper: dict[str, str], words: str, lab: Laboratory
) -> None:
    submission = measured_by_two(lab, copper=copper)
    assert readiness([submission]).missing == [f"{words}: have them measured by one version of AR-7"]
    with pytest.raises(WrongState, match=words):
        issue_certificate(
            by=lab.people["issuer"], at=lab.later(), submission=submission, rule_set=lab.rule_set,
            preliminary=preliminary,
        )  # fmt: skip


def test_what_is_given_alike_shares_its_column(lab: Laboratory) -> None:
    submission = measured_by_two(lab)
    certificate = issue_certificate(
        by=lab.people["issuer"], at=lab.later(), submission=submission, rule_set=lab.rule_set
    )
    document = document_of(certificate)
    assert [(column.key, column.unit) for column in document.columns] == [("AR-7 Cu", "mg/kg"), ("AR-7 Pb", "mg/kg")]
    assert [[cell.printed for cell in row.cells] for row in document.rows] == [["600", "35"], ["600", "35"]]
