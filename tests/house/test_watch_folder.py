"""A folder into which instruments drop their files: taken when still, for the right run, then moved aside."""

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import OperationalError

from labresults.management.commands import watch_folder
from labresults.management.folder import DONE, REFUSED, Folder, Left, alone, run_named
from labresults.models import Evaluation, ReadingFile, Run
from labresults.terms import WayIn
from tests.builders import Laboratory, a_reading_file, a_run, a_submission, a_weighed_batch

Watch = Callable[..., str]


@pytest.fixture
def planned(lab: Laboratory) -> Run:
    return a_run(lab, a_weighed_batch(lab, a_submission(lab)))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    found = tmp_path / "drop"
    found.mkdir()
    return found


@pytest.fixture
def watch(lab: Laboratory, folder: Path, capsys: pytest.CaptureFixture[str]) -> Watch:
    """Look twice, with no pause between the looks, and give back what was printed."""

    def watched(**options: Any) -> str:
        given = {"by": "analyst", "layout": "long", "once": True, "still": 0.0} | options
        call_command("watch_folder", str(folder), **given)
        return capsys.readouterr().out

    return watched


def lying_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if path.is_file() and not path.name.startswith("."))


def test_an_overnight_run_waits_evaluated_in_the_morning(planned: Run, folder: Path, watch: Watch) -> None:
    # given a file whose name begins with the number of its run
    (folder / f"{planned}-night.csv").write_bytes(a_reading_file(planned, factors={("CCV 1", "Pb"): 1.134}))
    # when the folder is looked at
    said = watch(evaluate=True)
    # then its readings are taken, the run is evaluated, and the report beside the file says what failed
    file = ReadingFile.objects.get()
    assert (file.run, file.way, file.name) == (planned, WayIn.FOLDER, f"{planned}-night.csv")
    assert Evaluation.objects.get().run == planned
    assert f"Moved to done/{planned}-night.csv" in said
    assert lying_in(folder / DONE) == [f"{planned}-night.csv", f"{planned}-night.csv.report.txt"]
    report = (folder / DONE / f"{planned}-night.csv.report.txt").read_text()
    assert f"Taken for run {planned} by Analyst Person" in report
    assert "CCV 1, Pb 220.353" in report
    assert lying_in(folder) == []


def test_a_refused_file_has_every_problem_beside_it(planned: Run, folder: Path, watch: Watch) -> None:
    spoiled = a_reading_file(planned).replace(b",CCV 1,", b",CCV X,").replace(b",Cu 324.754,100", b",Cu 324.754,1O0")
    (folder / f"{planned}.csv").write_bytes(spoiled)
    assert "Moved to refused/" in watch()
    assert not ReadingFile.objects.exists()
    report = (folder / REFUSED / f"{planned}.csv.report.txt").read_text()
    assert "was not taken" in report
    assert "row " in report
    assert (folder / REFUSED / f"{planned}.csv").read_bytes() == spoiled, "to the letter as it came"


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        pytest.param("night.csv", b"position,label\n1,a\n", "Nothing says which run it belongs to", id="no run"),
        pytest.param("R26-0099.csv", b"position,label\n1,a\n", "There is no run R26-0099", id="another run"),
        pytest.param("R26-0001.csv", b"\x00\xff\x00PK\x03\x04", "was not taken", id="no text"),
        pytest.param("R26-0001.xlsx", b"PK\x03\x04 cut off", "was not taken", id="broken workbook"),
    ],
)
def test_a_file_that_cannot_be_taken_is_told_why(
    planned: Run, folder: Path, watch: Watch, name: str, content: bytes, says: str
) -> None:
    (folder / name).write_bytes(content)
    watch()
    assert says in (folder / REFUSED / f"{name}.report.txt").read_text()
    assert lying_in(folder) == []


def test_the_run_may_stand_in_the_first_lines(planned: Run, folder: Path, watch: Watch, lab: Laboratory) -> None:
    text = a_reading_file(planned).decode()
    (folder / "night.csv").write_text(text.replace("STD 0,", f"STD 0 {planned},", 1))
    watch()
    report = (folder / REFUSED / "night.csv.report.txt").read_text()
    assert f"STD 0 {planned}" in report, "the run was found, and what does not fit its plan is named"


@pytest.mark.parametrize(
    ("filename", "content", "number"),
    [
        ("R26-0012.csv", b"", "R26-0012"),
        ("r26-0012 night.csv", b"", "R26-0012"),
        ("R26-0012-b.csv", b"run R26-0013", "R26-0012"),  # the name goes before
        ("night R26-0012.csv", b"", ""),  # not at its beginning
        ("night.csv", b"Run;R26-0012\nposition;label\n", "R26-0012"),
        ("night.csv", "Run;R26-0012\n".encode("utf-16"), "R26-0012"),
        ("night.csv", b"Run;R26-0012\nrepeats R26-0011\n", ""),  # which of the two?
        ("night.csv", b"x\n" * 20 + b"R26-0012\n", ""),  # too far down
        ("R26-00123.csv", b"", "R26-00123"),
    ],
)
def test_which_run_a_file_names(filename: str, content: bytes, number: str) -> None:
    assert run_named(filename, content) == number


def test_a_half_written_file_is_left_until_it_is_still(folder: Path) -> None:
    # given a file that grows between two looks
    watched, file = Folder(folder, still_s=30.0), folder / "R26-0001.csv"
    file.write_text("position,label")
    assert watched.still_files(now_s=0.0) == []
    file.write_text("position,label,line")
    assert watched.still_files(now_s=31.0) == [], "it changed since"
    # when it has looked the same for long enough, then it is taken
    assert watched.still_files(now_s=60.0) == []
    assert watched.still_files(now_s=61.0) == [file]
    # and when it changes while it is read, it is left after all
    file.write_text("position,label,line,reading 1")
    with pytest.raises(Left, match="it is being written"):
        watched.content(file, most_bytes=1_000)


def test_a_wrong_clock_of_the_instrument_changes_nothing(folder: Path) -> None:
    watched, file = Folder(folder, still_s=30.0), folder / "R26-0001.csv"
    for seconds in (0, 4_000_000_000):  # 1970, and 2096
        file.write_text(f"position,label {seconds}")
        os.utime(file, (seconds, seconds))
        assert watched.still_files(now_s=seconds + 0.0) == []
        assert watched.still_files(now_s=seconds + 30.0) == [file]


def test_what_is_no_file_of_readings_is_not_touched(planned: Run, folder: Path, watch: Watch) -> None:
    (folder / "R26-0001-empty.csv").write_bytes(b"")  # made by an instrument that writes later
    (folder / ".hidden.csv").write_text("a")
    (folder / "R26-0001.csv.report.txt").write_text("taken out of refused/ by hand")
    (folder / "R26-0001-folder").mkdir()
    (folder.parent / "elsewhere.csv").write_text("a")
    (folder / "R26-0001-link.csv").symlink_to(folder.parent / "elsewhere.csv")
    assert watch() == f"{folder} is not watched any more.\n"
    assert (lying_in(folder / DONE), lying_in(folder / REFUSED)) == ([], [])
    assert (folder / "R26-0001-link.csv").is_symlink()


def test_nothing_is_overwritten(planned: Run, folder: Path, watch: Watch) -> None:
    for words in ("first", "second", "third"):
        (folder / "night.csv").write_text(words)
        watch()
    kept = {path.name: path.read_text() for path in (folder / REFUSED).glob("*.csv")}
    assert kept == {"night.csv": "first", "night-2.csv": "second", "night-3.csv": "third"}
    assert (folder / REFUSED / "night-3.csv.report.txt").exists()


def test_the_same_bytes_dropped_again_say_where_they_are(planned: Run, folder: Path, watch: Watch) -> None:
    for name in (f"{planned}.csv", f"{planned} again.csv"):
        (folder / name).write_bytes(a_reading_file(planned))
        watch()
    assert ReadingFile.objects.count() == 1
    report = (folder / REFUSED / f"{planned} again.csv.report.txt").read_text()
    assert f"This file was taken before, as {planned}.csv of run {planned}" in report


def test_one_watcher_a_folder(planned: Run, folder: Path, watch: Watch) -> None:
    with alone(folder), pytest.raises(CommandError, match="is watched already by another program"):
        watch()
    assert "is not watched any more" in watch(), "and the lock goes with the program that held it"


def test_a_file_that_is_too_large_is_refused_without_being_read(
    planned: Run, folder: Path, watch: Watch, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(watch_folder, "MOST_BYTES", 10)
    (folder / f"{planned}.csv").write_bytes(a_reading_file(planned))
    assert "It is larger than" in watch()
    assert lying_in(folder / REFUSED) == [f"{planned}.csv", f"{planned}.csv.report.txt"]


@pytest.mark.parametrize(
    ("fault", "where", "says"),
    [
        (OperationalError("no connection"), "", "left for the next look"),
        (ZeroDivisionError("by zero"), REFUSED, "The program itself failed"),
    ],
)
def test_a_fault_of_the_program_ends_no_watch(
    planned: Run, folder: Path, watch: Watch, monkeypatch: pytest.MonkeyPatch, fault: Exception, where: str, says: str
) -> None:
    (folder / f"{planned}-a.csv").write_bytes(a_reading_file(planned))
    (folder / "night-b.csv").write_text("belongs to no run")

    def fails(**_: object) -> None:
        raise fault

    monkeypatch.setattr(watch_folder, "import_readings", fails)
    said = watch()
    assert says in said
    assert f"{planned}-a.csv" in lying_in(folder / where)
    assert "night-b.csv: Nothing says which run it belongs to" in said, "the next file has its turn"


def test_a_file_that_vanishes_is_said_and_nothing_is_left_of_it(
    planned: Run, folder: Path, watch: Watch, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = folder / f"{planned}.csv"
    file.write_bytes(a_reading_file(planned))

    def taken_away(number: str, content: bytes) -> str:
        file.unlink()
        return ""

    monkeypatch.setattr(watch_folder, "run_named", taken_away)
    assert "was taken away before it could be moved" in watch()
    assert lying_in(folder / REFUSED) == []


def test_somebody_who_may_not_load_readings_loads_none(planned: Run, folder: Path, watch: Watch) -> None:
    (folder / f"{planned}.csv").write_bytes(a_reading_file(planned))
    watch(by="reviewer")
    assert not ReadingFile.objects.exists()
    report = (folder / REFUSED / f"{planned}.csv.report.txt").read_text()
    assert "may not import readings" in report


@pytest.mark.parametrize(
    ("options", "says"),
    [({"layout": "none"}, "There is no layout none"), ({"by": "nobody"}, "Nobody signs in as nobody")],
)
def test_a_watch_that_cannot_begin_says_why(lab: Laboratory, watch: Watch, options: dict[str, str], says: str) -> None:
    with pytest.raises(CommandError, match=says):
        watch(**options)


def test_a_folder_that_is_not_there_cannot_be_watched(lab: Laboratory, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="cannot be watched"):
        call_command("watch_folder", str(tmp_path / "none"), by="analyst", layout="long", once=True, still=0.0)
