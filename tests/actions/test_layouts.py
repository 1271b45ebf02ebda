"""Layouts of a balance's files: saved beside those of readings, and used by the command that records weighings."""

from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from labresults.actions.batches import begin_batch
from labresults.actions.methods import save_layout
from labresults.acts import BadInput
from labresults.models import Weighing
from labresults.queries.run_imports import layouts
from labresults.readers.weighing_layout import WeighingHeadings, WeighingLayout
from tests.builders import LONG, Laboratory, a_submission

BALANCE = WeighingLayout(
    name="balance B2",
    headings=WeighingHeadings(label="Sample ID", tare_g="Tare", gross_g="Gross", mass_g=""),
    decimal_sign=",",
    heading_row=2,
)
AT = "2026-11-16T12:00:00+00:00"


def saved(lab: Laboratory, layout: WeighingLayout = BALANCE) -> None:
    save_layout(by=lab.people["analyst"], at=lab.later(), specification=layout)


def test_a_layout_of_weighings_is_kept_apart_from_those_of_readings(lab: Laboratory) -> None:
    saved(lab)
    assert "balance B2" not in {layout.name for layout in layouts()}, "not offered where readings are taken"
    with pytest.raises(BadInput, match=r"“long” is a layout of readings\. Give the one of weighings another name"):
        saved(lab, WeighingLayout(name=LONG.name))


def test_a_balance_file_is_recorded_by_its_layout_and_once(
    lab: Laboratory, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # given a batch, and a file as the balance writes it
    batch = begin_batch(
        by=lab.people["preparer"], at=lab.later(), method_version=lab.version, caution_read=True,
        samples=list(a_submission(lab, 2).samples.order_by("ordinal")),
    )  # fmt: skip
    saved(lab)
    file = tmp_path / "b2.csv"
    file.write_text(
        "Balance B2\nSample ID;Tare;Gross;volume mL;dilution\n"
        "KF26-00001;12,3456 g;12,8468 g;50;10\nKF26-00002;12,1 g;12,6 g;50;5 mL to 50 mL = x 10\n"
    )
    given = {"by": "preparer", "at": AT, "balance": "B2", "layout": "balance B2"}
    # when the command takes it, then masses are exact, and a bare number is a factor
    call_command("record_weighings", batch.number, str(file), **given)
    assert "2 portions recorded" in capsys.readouterr().out
    kept = Weighing.objects.order_by("portion__tube").values_list("mass_g", "tare_g", "dilution")
    assert list(kept) == [(0.5012, 12.3456, 10.0), (0.5, 12.1, 10.0)]
    # when it is sent again, then nothing is
    with pytest.raises(CommandError, match="All 2 tubes are recorded already"):
        call_command("record_weighings", batch.number, str(file), **given)
    assert Weighing.objects.count() == 2


@pytest.mark.parametrize(
    ("file", "layout", "says"),
    [("b2.csv", "long", "no layout of weighings long"), ("none.csv", "balance B2", "cannot be read")],
)
def test_a_command_that_cannot_be_done_says_why(
    lab: Laboratory, tmp_path: Path, file: str, layout: str, says: str
) -> None:
    saved(lab)
    (tmp_path / "b2.csv").write_text("label,mass g\nA,1\n")
    with pytest.raises(CommandError, match=says):
        call_command("record_weighings", "B26-0001", str(tmp_path / file), by="preparer", at=AT, layout=layout)
