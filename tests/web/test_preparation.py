"""At the bench: a batch begun with its control samples, and a grid in which each mass is judged."""

from collections.abc import Callable

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from labresults.models import AuditEvent, PreparationBatch, Weighing
from labresults.models import TestPortion as Portion
from labresults.queries.preparation import judge_mass
from tests.builders import Laboratory, a_method, a_submission, a_weighed_batch

AsRole = Callable[[str], Client]


@pytest.fixture
def batch(lab: Laboratory, as_role: AsRole) -> PreparationBatch:
    """Three samples on the bench, begun from the page; tubes: blank, reference material, three samples, duplicate."""
    numbers = [sample.number for sample in a_submission(lab, 3).samples.all()]
    answer = as_role("preparer").post(
        reverse("begin-batch", args=["AR-7"]), {"samples": numbers, "repeat": "first", "caution_read": "on"}
    )
    made = PreparationBatch.objects.get()
    assert answer.headers["Location"] == reverse("batch", args=[made.number])
    return made


def test_a_batch_holds_the_control_samples_of_its_method(batch: PreparationBatch) -> None:
    assert list(batch.portions.order_by("tube").values_list("role", flat=True)) == [
        "method blank", "certified reference material", "sample", "sample", "sample", "laboratory duplicate",
    ]  # fmt: skip


def test_a_caution_that_was_not_read_stops_the_batch(lab: Laboratory, as_role: AsRole) -> None:
    numbers = [sample.number for sample in a_submission(lab, 1).samples.all()]
    answer = as_role("preparer").post(reverse("begin-batch", args=["AR-7"]), {"samples": numbers, "repeat": "first"})
    assert "Read the caution first" in answer.content.decode()
    assert not PreparationBatch.objects.exists()


def test_a_sample_is_prepared_again_with_a_cause(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, 1)
    a_weighed_batch(lab, submission)
    number = submission.samples.get().number
    browser, address = as_role("preparer"), reverse("begin-batch", args=["AR-7"])
    given = {"again": number, "repeat": "re-digest", "caution_read": "on"}
    assert "cause" in browser.post(address, given).content.decode()
    browser.post(address, given | {"reason": "undissolved rest"})
    again = Portion.objects.filter(role="sample").latest("pk")
    assert (again.repeat, again.repeat_cause) == ("re-digest", "undissolved rest")


def test_what_waits_is_gone_when_it_is_on_the_bench(lab: Laboratory, batch: PreparationBatch, as_role: AsRole) -> None:
    answer = as_role("preparer").get(reverse("preparation"))
    assert (answer.context["waits"], [row.number for row in answer.context["batches"]]) == ([], [batch.number])


def post(as_role: AsRole, batch: PreparationBatch, **given: object) -> object:
    return as_role("preparer").post(
        reverse("batch", args=[batch.number]),
        {"state": "as received", "usual_volume_mL": "50", "usual_dilution": "", **given},
    )


def test_filled_rows_are_recorded_and_the_others_wait(
    lab: Laboratory, batch: PreparationBatch, as_role: AsRole
) -> None:
    post(
        as_role, batch, balance=lab.balance.pk, **{"t3-mass_g": "0.5031", "t4-mass_g": "0.4987", "t4-dilution": "1 + 9"}
    )
    recorded = Weighing.objects.order_by("portion__tube").values_list(
        "portion__tube", "mass_g", "volume_mL", "dilution", "balance__code"
    )
    assert list(recorded) == [(3, 0.5031, 50.0, 1.0, "B2"), (4, 0.4987, 50.0, 10.0, "B2")]


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"t3-mass_g": "0.7"}, "0.7 g lies outside 0.45 to 0.55 g."),
        ({"t3-mass_g": "0,5"}, "“0,5” is not a number."),
        ({"t3-mass_g": "nan"}, "“nan” is not a number."),
        ({"t3-mass_g": "0.5", "t3-dilution": "1:10"}, "1:10"),
        ({"t3-volume_mL": "50"}, "has none."),
    ],
    ids=["outside", "decimal comma", "not finite", "ambiguous dilution", "no mass"],
)
def test_a_problem_stands_at_its_tube_and_nothing_is_recorded(
    typed: dict[str, str], words: str, lab: Laboratory, batch: PreparationBatch, as_role: AsRole
) -> None:
    answer = post(as_role, batch, **typed, **{"t4-mass_g": "0.5"})
    found = {row.tube.portion.tube: " ".join(row.problems) for row in answer.context["grid"].rows if row.problems}
    assert list(found) == [3]
    assert words in found[3]
    assert 'value="0.5"' in answer.content.decode()
    assert not Weighing.objects.exists()


def test_outside_the_window_is_kept_with_a_reason(lab: Laboratory, batch: PreparationBatch, as_role: AsRole) -> None:
    post(as_role, batch, **{"t3-mass_g": "0.7", "t3-reason": "all that there was"})
    assert Weighing.objects.get().reason == "all that there was"


def test_a_second_record_needs_a_reason_and_keeps_the_first(
    lab: Laboratory, batch: PreparationBatch, as_role: AsRole
) -> None:
    post(as_role, batch, **{"t3-mass_g": "0.5"})
    again = {"t3-mass_g": "0.51", "t3-volume_mL": "50.0"}
    assert "was recorded before" in post(as_role, batch, **again).content.decode()
    post(as_role, batch, **again, **{"t3-reason": "misread"})
    assert list(Weighing.objects.order_by("version").values_list("mass_g", flat=True)) == [0.5, 0.51]


def test_what_is_sent_unchanged_is_not_recorded_again(
    lab: Laboratory, batch: PreparationBatch, as_role: AsRole
) -> None:
    same = {"t3-mass_g": "0.5", "t3-volume_mL": "50.0"}
    post(as_role, batch, **same)
    before = AuditEvent.objects.count()
    assert "nothing was recorded" in post(as_role, batch, **same).content.decode()
    assert (Weighing.objects.count(), AuditEvent.objects.count()) == (1, before)


@pytest.mark.parametrize("parted", [",", ";", "\t"], ids=["comma", "semicolon", "tab"])
def test_a_file_fills_the_grid_and_records_nothing(
    parted: str, lab: Laboratory, batch: PreparationBatch, as_role: AsRole
) -> None:
    label = batch.portions.get(tube=3).label
    lines = [("label", "mass g", "volume mL"), (label, "0.5031", "50.00"), ("stranger", "1", "2")]
    content = "\n".join(parted.join(line) for line in lines).encode("utf-8-sig")
    answer = post(as_role, batch, file=SimpleUploadedFile("balance.csv", content))
    row = answer.context["grid"].rows[2]
    assert (row.texts["mass_g"], row.texts["volume_mL"], row.verdict) == ("0.5031", "50.00", "within")
    assert "“stranger” is not a tube of this batch." in answer.content.decode()
    assert not Weighing.objects.exists()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"tube,weight\n3,0.5\n", "column label: there is no column with this heading."),
        (b"mass g\n0.5\n", "column label: there is no column with this heading."),
        (b"label,mass g\nKF26-00001,O.5\n", "row 2, column mass g"),
        (b"", "The submitted file is empty."),
        (b"\x00\xff\xfe\x00", "0 tubes are filled in."),
    ],
    ids=["other headings", "no label", "no number", "empty", "bytes"],
)
def test_a_file_that_does_not_say_what_it_holds_is_asked_about(
    content: bytes, words: str, lab: Laboratory, batch: PreparationBatch, as_role: AsRole
) -> None:
    answer = post(as_role, batch, file=SimpleUploadedFile("balance.csv", content))
    assert answer.status_code == 200
    assert words in answer.content.decode()
    assert not Weighing.objects.exists()


@pytest.mark.parametrize(
    ("mass_g", "verdict"),
    [
        (0.4499, "outside"), (0.45, "close"), (0.459, "close"), (0.461, "within"), (0.5, "within"),
        (0.541, "close"), (0.55, "close"), (0.5501, "outside"), (None, "not judged"),
    ],
)  # fmt: skip
def test_a_mass_is_judged_in_its_window(mass_g: float | None, verdict: str, lab: Laboratory) -> None:
    assert judge_mass(mass_g, lab.version) == verdict


def test_a_method_without_a_window_judges_nothing(lab: Laboratory) -> None:
    version = a_method(lab.people["quality manager"], "WW-2", mass_low_g=None, mass_high_g=None)
    assert judge_mass(0.5, version) == "not judged"
