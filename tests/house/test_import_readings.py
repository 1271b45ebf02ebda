"""Readings brought by command: several files, rows struck, names matched, every problem printed and written."""

from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from labresults.actions.methods import save_layout
from labresults.models import ReadingFile, Run
from labresults.terms import WayIn
from tests.actions.test_readings import BY_LABEL
from tests.builders import Laboratory, a_reading_file, a_run, a_submission, a_weighed_batch

AT = "2026-11-17T09:00:00+00:00"


@pytest.fixture
def planned(lab: Laboratory) -> Run:
    return a_run(lab, a_weighed_batch(lab, a_submission(lab)))


def written(folder: Path, name: str, content: bytes) -> str:
    (folder / name).write_bytes(content)
    return str(folder / name)


def brought(planned: Run, *files: str, **options: Any) -> None:
    call_command("import_readings", planned.number, *files, **({"by": "analyst", "at": AT, "layout": "long"} | options))


def test_several_files_are_taken_each_by_itself(
    planned: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    good = written(tmp_path, "night.csv", a_reading_file(planned))
    bad = written(tmp_path, "notes.txt", b"nothing of a run")
    # when one of two cannot be taken, then the other is, and the command ends with what was refused
    with pytest.raises(CommandError) as refusal:
        brought(planned, bad, good)
    assert "night.csv: 26 readings" in str(refusal.value)
    assert "notes.txt was not taken. " in str(refusal.value)
    assert ReadingFile.objects.get().way == WayIn.COMMAND


def test_every_problem_is_printed_and_written(planned: Run, tmp_path: Path) -> None:
    spoiled = written(tmp_path, "night.csv", a_reading_file(planned).replace(b",CCV 1,", b",CCV X,"))
    with pytest.raises(CommandError, match="“CCV X” here and “CCV 1” in the plan"):
        brought(planned, spoiled, problems=str(tmp_path / "problems.csv"))
    rows = (tmp_path / "problems.csv").read_text(encoding="utf-8-sig").splitlines()
    assert rows[0] == "file,row,column,what is wrong,found,expected,what to do"
    assert "CCV X" in rows[1]


def test_a_row_is_left_out_and_said(planned: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = a_reading_file(planned).decode().splitlines()
    file = written(tmp_path, "night.csv", "\n".join([*lines, lines[-1]]).encode())
    brought(planned, file, strike=[f"{len(lines) + 1}:written twice"])
    assert "1 row left out by name" in capsys.readouterr().out
    assert ReadingFile.objects.get().struck == [[len(lines) + 1, "written twice"]]


def test_a_name_is_matched(lab: Laboratory, planned: Run, tmp_path: Path) -> None:
    save_layout(by=lab.people["analyst"], at=lab.later(), specification=BY_LABEL)
    file = written(tmp_path, "night.csv", a_reading_file(planned).replace(b",KF26-00002,", b",KF=2,"))
    number = planned.positions.get(label="KF26-00002").number
    brought(planned, file, layout="by label", match=[f"KF=2={number}"])
    assert ReadingFile.objects.get().matched == {"KF=2": number}


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"layout": "none"}, "There is no layout none"),
        ({"strike": ["12"]}, "Write it as 12:why it is left out"),
        ({"match": ["a"]}, "Write it as name=12"),
        ({"strike": ["2:why"], "twice": True}, "take that file by itself"),
    ],
)
def test_what_cannot_be_done_is_said(planned: Run, tmp_path: Path, options: dict[str, Any], says: str) -> None:
    file = written(tmp_path, "night.csv", a_reading_file(planned))
    files = [file, file] if options.pop("twice", False) else [file]
    with pytest.raises(CommandError, match=says):
        brought(planned, *files, **options)
    assert not ReadingFile.objects.exists()


def test_a_file_that_is_not_there_is_said(planned: Run, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match=r"none\.csv was not taken\. It cannot be read: No such file"):
        brought(planned, str(tmp_path / "none.csv"))
