"""The main job by commands that call the same acts, so that scripts can do it too."""

from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from labresults.models import Run, Sample
from tests.builders import PASSWORD, Laboratory, a_reading_file, a_submission, a_weighed_batch, an_evaluated_run

AT = "2026-11-16T09:00:00+00:00"


def said(capsys: pytest.CaptureFixture[str], *command: str, **options: object) -> str:
    call_command(*command, **options)
    return capsys.readouterr().out


def test_from_the_counter_to_the_certificate_and_back(
    lab: Laboratory, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LABRESULTS_PASSWORD", PASSWORD)
    delivery = tmp_path / "delivery.csv"
    delivery.write_text("identification,matrix,g\nNRD014 112.0 m,soil,30\nNRD014 113.0 m,soil,30\n")
    assert "S26-0001: 2 samples." in said(
        capsys, "receive_samples", str(delivery), by="reception", at=AT, client="ridge", methods=["AR-7"]
    )
    assert "KF26-00001" in said(
        capsys, "begin_batch", "AR-7", "KF26-00001", "KF26-00002", by="preparer", at=AT, caution_read=True
    )
    weighed = tmp_path / "weighed.csv"
    weighed.write_text(
        "label,mass g,volume mL\nB26-0001 MB1,,50\nB26-0001 RM2,0.5,50\nKF26-00001,0.5,50\nKF26-00002,0.5,50\n"
        "KF26-00002 D,0.5,50\n"
    )
    assert "5 portions recorded" in said(
        capsys, "record_weighings", "B26-0001", str(weighed), by="preparer", at=AT, balance="B2"
    )
    assert "R26-0001: " in said(capsys, "plan_run", "B26-0001", by="analyst", at=AT, instrument="P1")
    assert said(capsys, "run_list", "R26-0001").startswith("position,label,role")
    readings = tmp_path / "night.csv"
    readings.write_bytes(a_reading_file(Run.objects.get()))
    assert "SHA-256" in said(capsys, "import_readings", "R26-0001", str(readings), by="analyst", at=AT, layout="long")
    assert "0 control samples outside" in said(capsys, "evaluate_run", "R26-0001", by="analyst", at=AT)
    assert "4 results approved" in said(capsys, "approve_results", "S26-0001", by="reviewer", at=AT)
    issued = said(
        capsys, "issue_certificate", "S26-0001", by="issuer", at=AT, rules="R2", to=str(tmp_path / "certificates")
    )
    assert "C26-0001-issue-1.pdf" in issued
    assert (tmp_path / "certificates" / "C26-0001-issue-1.xlsx").read_bytes().startswith(b"PK")
    result = Run.objects.get().evaluations.get().results.filter(is_candidate=True).first()
    assert "the same, bit for bit" in said(capsys, "trace", str(result.pk))
    assert "The audit chain holds" in said(capsys, "verify_audit")
    assert "1 evaluations computed again: each the same." in said(capsys, "recompute", check=True)


@pytest.mark.parametrize(
    ("command", "options", "says"),
    [
        (("evaluate_run", "R26-0001"), {"by": "nobody"}, "Nobody signs in as nobody."),
        (("evaluate_run", "R26-0001"), {"by": "analyst"}, "There is no run R26-0001."),
        (("evaluate_run", "R26-0001"), {"by": "analyst", "at": "2026-11-16"}, "is not a time with a zone"),
        (("receive_samples", "nowhere.csv"), {"by": "reception", "client": "ridge"}, "cannot be read"),
    ],
)
def test_what_cannot_be_done_is_said_in_words(
    lab: Laboratory, command: tuple[str, ...], options: dict[str, str], says: str
) -> None:
    with pytest.raises(CommandError, match=says):
        call_command(*command, **options)


def test_every_problem_of_a_delivery_is_printed(lab: Laboratory, tmp_path: Path) -> None:
    delivery = tmp_path / "delivery.csv"
    delivery.write_text("identification,matrix\na,sol\n,soil\n")
    with pytest.raises(CommandError) as refusal:
        call_command("receive_samples", str(delivery), by="reception", client="ridge", methods=["AR-7"])
    assert "row 1, column matrix" in str(refusal.value)
    assert "row 2, column client's own identification" in str(refusal.value)


def test_a_delivery_with_a_concern_is_logged_with_a_reason_only(
    lab: Laboratory, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    delivery = tmp_path / "delivery.csv"
    delivery.write_text("identification;matrix;g;sampled;basis\nNRD014 112.0 m;soil;0.3;2026-11-12 08:30;dry basis\n")
    given = {"by": "reception", "at": AT, "client": "ridge", "methods": ["AR-7"]}
    with pytest.raises(CommandError, match=r"0\.3 g is too little"):
        call_command("receive_samples", str(delivery), **given)
    said(capsys, "receive_samples", str(delivery), accept="all there is", tell_client=True, **given)
    sample = Sample.objects.get()
    assert (sample.sampled_at.isoformat(), sample.concerns.get().reason) == (
        "2026-11-12T08:30:00+00:00",
        "all there is",
    )
    assert sample.submission.requests.get().terms.get().basis == "dry basis"


def test_a_run_is_looked_at_before_it_is_planned_and_planned_anew(
    lab: Laboratory, capsys: pytest.CaptureFixture[str]
) -> None:
    a_weighed_batch(lab, a_submission(lab, 1))
    who = {"by": "analyst", "at": AT, "instrument": "P1"}
    listed = said(capsys, "plan_run", "B26-0001", preview=True, **who)
    assert "   8  KF26-00001  sample" in listed
    assert "No rule of the method is broken." in listed
    assert not Run.objects.exists()
    assert "R26-0001: " in said(capsys, "plan_run", "B26-0001", **who)
    assert "R26-0002: " in said(capsys, "plan_run", "B26-0001", replaces="R26-0001", **who)
    with pytest.raises(CommandError, match=r"Read before, .* KF26-00001"):
        call_command("plan_run", "B26-0001", **who)
    with pytest.raises(CommandError, match="Name a batch, or a method with --again"):
        call_command("plan_run", **who)


def test_what_an_evaluation_asks_for_is_planned_again_by_command(
    lab: Laboratory, capsys: pytest.CaptureFixture[str]
) -> None:
    an_evaluated_run(lab, a_submission(lab, 3), contents={"KF26-00002": {"Cu": 4500.0, "Pb": 35.0}})
    given = {"by": "analyst", "at": AT, "instrument": "P1", "again": "AR-7"}
    assert "R26-0002: " in said(capsys, "plan_run", **given)
    position = Run.objects.latest("pk").positions.get(role="sample")
    assert (position.label, position.dilution, position.repeat) == ("KF26-00002", 10.0, "re-dilute")
    assert position.repeat_cause.startswith("R26-0001, position 9: ")
