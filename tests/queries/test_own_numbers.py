"""Laboratory numbers that people type into reasons: those of others never reach a client."""

import pytest

from labresults.queries.reportable import reportable
from reports.queries.result_facts import own_only
from tests.builders import Laboratory, a_submission


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("mixed up with KF26-00099", "mixed up with another sample"),
        ("mixed up with kf26-00099", "mixed up with another sample"),
        ("mixed up with KF26–00099, wet", "mixed up with another sample, wet"),
        ("mixed up with KF26 - 00099", "mixed up with another sample"),
        ("mixed up with Kf2600099.", "mixed up with another sample."),
        ("kf26–00001 is coarse", "kf26–00001 is coarse"),
        ("KF26-00001 as KF26-000011", "KF26-00001 as another sample"),
        ("of run R26-00099, at 26-00099", "of run R26-00099, at 26-00099"),
    ],
)
def test_numbers_of_others_are_left_out_however_they_are_typed(typed: str, read: str, lab: Laboratory) -> None:
    found = reportable(a_submission(lab, 1))  # its one sample is KF26-00001
    assert own_only(typed, found) == read
