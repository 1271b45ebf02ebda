"""Results as a table for further work."""

from io import StringIO

import pandas as pd
import pytest
from django.core.management import call_command

from labresults.queries.frames import results_frame
from tests.builders import Laboratory, a_submission, an_evaluated_run, approved


def test_one_row_a_sample_unrounded_with_limits_and_state(lab: Laboratory) -> None:
    submission = a_submission(lab, 2)
    an_evaluated_run(lab, submission, contents={"KF26-00002": {"Cu": 0.123456789, "Pb": 35.0}})
    approved(lab, submission)

    frame = results_frame(submission)

    assert list(frame.index.get_level_values("number")) == ["KF26-00001", "KF26-00002"]
    copper = frame["AR-7"]["Cu, mg/kg"]
    assert copper["value"].iloc[1] == pytest.approx(0.123456789, rel=1e-9)
    assert copper["detection limit"].iloc[1] == pytest.approx(1.0)
    assert set(copper["state"]) == {"approved"}


def test_the_command_writes_what_a_spreadsheet_reads(lab: Laboratory, capsys: pytest.CaptureFixture[str]) -> None:
    submission = a_submission(lab, 3)
    an_evaluated_run(lab, submission)
    call_command("export_results", submission.number)
    table = pd.read_csv(StringIO(capsys.readouterr().out), header=[0, 1, 2], index_col=[0, 1])
    assert table.shape == (3, 8)
