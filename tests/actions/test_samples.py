"""Results in words: delivered work, each with a reason that a client can read."""

import pytest

from labresults.actions.samples import state_not_measured
from labresults.acts import BadInput
from labresults.terms import NotMeasured
from tests.builders import Laboratory, a_submission


def test_a_result_in_words_needs_a_reason(lab: Laboratory) -> None:
    sample = a_submission(lab).samples.first()
    given = {"sample": sample, "method": lab.method, "word": NotMeasured.INSUFFICIENT}
    with pytest.raises(BadInput, match="reason"):
        state_not_measured(by=lab.people["preparer"], at=lab.later(), **given)
    row = state_not_measured(by=lab.people["preparer"], at=lab.later(), reason="0.2 g left", **given)
    assert row.word == "insufficient sample"
