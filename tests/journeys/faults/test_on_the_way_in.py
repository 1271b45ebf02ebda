"""Files that come at the wrong moment, twice, or in the hour that is there twice; and what the page of a run says."""

from dataclasses import replace
from datetime import datetime
from html import unescape
from pathlib import Path

import pytest
from django.core.management import call_command
from django.test import Client

from labresults.actions.people import found_laboratory
from labresults.acts import WrongState
from labresults.models import Evaluation, ReadingFile, Run
from labresults.terms import DriftRule
from tests.builders import NOW, PASSWORD, Laboratory, a_laboratory
from tests.journeys.faults.instrument import CONTENTS
from tests.journeys.faults.laboratory import FE, Y
from tests.journeys.faults.night import NO_FAULT, Caught, a_night, seen_of, taken, waiting_run, written
from tests.journeys.faults.planting import dead_from, fading
from tests.journeys.faults.test_in_the_run import set_back


def lying_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if path.is_file() and not path.name.startswith("."))


def test_a_file_that_the_instrument_had_not_finished_is_moved_aside_and_the_whole_one_is_taken(
    lab: Laboratory, tmp_path: Path
) -> None:
    # given an instrument that stopped writing in the middle of the night for longer than a file must be still
    run = waiting_run(lab)
    whole = written(run)
    (tmp_path / f"{run}-night.csv").write_bytes(whole[: len(whole) // 2])
    watch = {"by": "analyst", "layout": "night", "once": True, "still": 0.0, "evaluate": True}
    call_command("watch_folder", str(tmp_path), **watch)
    # then nothing of it is taken, and the report says where it ends
    assert not ReadingFile.objects.exists()
    report = (tmp_path / "refused" / f"{run}-night.csv.report.txt").read_text()
    assert "the end of a file that was cut off" in report or "is not in the file" in report
    # and when the whole file comes, the run waits evaluated in the morning
    (tmp_path / f"{run}-night.csv").write_bytes(whole)
    call_command("watch_folder", str(tmp_path), **watch)
    assert lying_in(tmp_path / "done") == [f"{run}-night.csv", f"{run}-night.csv.report.txt"]
    assert Evaluation.objects.get().run == run
    assert seen_of(run) == []


def test_the_same_file_is_not_taken_for_another_run(lab: Laboratory) -> None:
    first = a_night(lab).evaluation
    assert first is not None
    file = first.run.files.get()
    with pytest.raises(WrongState, match=f"This file was taken before, as night.csv of run {first.run}"):
        taken(lab, waiting_run(lab, again=True), bytes(file.content))


BY_TIME = {"drift_rule": DriftRule.BY_TIME, "drift_limit_percent": 10.0}


def test_the_hour_that_is_there_twice_is_told_apart_by_the_order_of_the_file(db: None) -> None:
    # given a laboratory whose clocks go back from three to two in this night, after position 23
    founder = found_laboratory(
        at=NOW, name="Kestrel Flat Laboratory", address="Gravel Road", place_of_work="Gravel Road", prefix="KF",
        time_zone="Europe/Berlin", sign_in="quill", full_name="Marta Quill", password=PASSWORD, invented=True,
    )  # fmt: skip
    fault = replace(
        NO_FAULT, method=BY_TIME, signals=fading(0.94, FE, first="ICV 1"), started=datetime(2026, 10, 25, 1, 50),
        text=lambda text: set_back(text, since=24),
    )  # fmt: skip
    # then a drift that is linear in time is taken out as if there had been no change
    night = a_night(a_laboratory(founder), fault)
    assert not night.findings, night.findings
    assert night.values("Fe") == pytest.approx({label: held["Fe"] for label, held in CONTENTS.items()}, rel=1e-4)


def test_the_page_of_the_run_says_what_was_found(lab: Laboratory, client: Client) -> None:
    night = a_night(lab, replace(NO_FAULT, signals=dead_from("KF26-00004", Y)))
    run = Run.objects.get()
    client.force_login(lab.people["analyst"])
    page = unescape(client.get(f"/runs/{run}").content.decode())
    said = [f.words for f in night.findings if f.caught is Caught.RUN and f.line == Y]
    assert said
    assert all(words in page for words in said), [words for words in said if words not in page]
