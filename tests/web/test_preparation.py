"""At the bench: what waits, grouped; a batch begun by hand and by scanner with its control samples."""

from collections.abc import Callable
from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from labresults.actions.materials import register_lot, register_material
from labresults.actions.methods import add_method_version
from labresults.actions.samples import register_client
from labresults.models import Lot, MethodVersion, PreparationBatch, Sample
from labresults.models import TestPortion as Portion
from labresults.terms import MaterialKind, Placing, Role
from tests.builders import NOW, Laboratory, a_submission, a_weighed_batch
from tests.web.conftest import TODAY

AsRole = Callable[[str], Client]


def numbers_of(lab: Laboratory, count: int, **given: object) -> list[str]:
    rows = a_submission(lab, count, **given).samples.order_by("ordinal")  # type: ignore[arg-type]
    return [sample.number for sample in rows]


def an_acid(lab: Laboratory, number: str = "A-402", expires_on: date = date(2027, 1, 5)) -> Lot:
    quality = lab.people["quality manager"]
    acid = register_material(by=quality, at=NOW, code=number, name="nitric acid, invented", kind=MaterialKind.REAGENT)
    return register_lot(
        by=quality, at=NOW, number=number, material=acid, received_on=date(2026, 1, 5), expires_on=expires_on,
        contents=[],
    )  # fmt: skip


def sent(samples: list[str], **more: object) -> dict[str, object]:
    return {"samples": samples, "repeat": "first", "caution_read": "on", **more}


# ------------------------------------------------------------ what waits


def test_what_waits_stands_together_by_method_the_first_due_in_front(lab: Laboratory, as_role: AsRole) -> None:
    other = register_client(by=lab.people["reception"], at=NOW, code="hollow", name="Tern Hollow Grain Co-operative")
    a_submission(lab, 25, due_on=date(2026, 11, 27))
    a_submission(lab, 2, names=["bin 1", "bin 2"], client=other, due_on=date(2026, 11, 16))
    answer = as_role("preparer").get(reverse("preparation"))
    ((group, days_late, on_bench),) = answer.context["groups"]
    assert (group.code, group.samples, group.batches, days_late, on_bench) == ("AR-7", 27, 2, 1, [])
    assert [(part.submission, part.samples) for part in group.parts] == [("S26-0002", 2), ("S26-0001", 25)]
    words = " ".join(answer.content.decode().split())
    assert "2 soil of Tern Hollow Grain Co-operative" in words
    assert "Caution: Hot acids" in words


def test_a_water_acidified_on_arrival_is_locked_until_its_time_is_over(lab: Laboratory, as_role: AsRole) -> None:
    number, *_ = numbers_of(lab, 2)
    Sample.objects.filter(number=number).update(acidified_at=TODAY - timedelta(hours=1))  # 24 h from 07:00 on
    browser = as_role("preparer")
    assert "locked until Wed 18 Nov 07:00" in browser.get(reverse("preparation")).content.decode()
    answer = browser.get(reverse("begin-batch", args=["AR-7"]))
    row, chosen = answer.context["waiting"][-1]
    assert (row.number, chosen, f"{row.locked_until:%d %H:%M}") == (number, False, "18 07:00")
    refused = browser.post(reverse("begin-batch", args=["AR-7"]), sent([number]))
    assert "may begin 18 Nov 2026 07:00 UTC" in refused.content.decode()
    assert not PreparationBatch.objects.exists()


def test_what_waits_is_gone_when_it_is_on_the_bench(lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("preparer")
    browser.post(reverse("begin-batch", args=["AR-7"]), sent(numbers_of(lab, 3)))
    answer = browser.get(reverse("preparation"))
    assert (answer.context["groups"], [row.number for row in answer.context["batches"]]) == ([], ["B26-0001"])


# ------------------------------------------------------------ begun


def test_a_batch_holds_samples_of_several_submissions_and_the_control_samples_of_its_method(
    lab: Laboratory, as_role: AsRole
) -> None:
    numbers = [*numbers_of(lab, 2, names=["core 1", "core 2"]), *numbers_of(lab, 1, names=["pit 1"])]
    answer = as_role("preparer").post(reverse("begin-batch", args=["AR-7"]), sent(numbers))
    batch = PreparationBatch.objects.get()
    assert answer.headers["Location"] == reverse("batch", args=[batch.number])
    assert list(batch.portions.order_by("tube").values_list("role", flat=True)) == [
        "method blank", "certified reference material", "sample", "sample", "sample", "laboratory duplicate",
    ]  # fmt: skip


def test_the_most_urgent_are_ticked_and_the_order_of_their_tubes_is_shown(lab: Laboratory, as_role: AsRole) -> None:
    a_submission(lab, 25, due_on=date(2026, 11, 27))
    urgent = numbers_of(lab, 2, names=["bin 1", "bin 2"], due_on=date(2026, 11, 18))
    answer = as_role("preparer").get(reverse("begin-batch", args=["AR-7"]))
    ticked = [row.number for row, chosen in answer.context["waiting"] if chosen]
    assert (ticked[:2], len(ticked)) == (urgent, 20)
    tubes = answer.context["order"].tubes
    assert [tube.what or tube.sample for tube in tubes[:3]] == [
        "method blank", "certified reference material, GC-17, invented", urgent[0],
    ]  # fmt: skip
    assert (tubes[-1].what, tubes[-1].parent) == ("laboratory duplicate", 22)


def test_a_sample_scanned_elsewhere_is_ticked(lab: Laboratory, as_role: AsRole) -> None:
    numbers = numbers_of(lab, 25)
    answer = as_role("preparer").get(reverse("begin-batch", args=["AR-7"]), {"with": numbers[24]})
    ticked = [row.number for row, chosen in answer.context["waiting"] if chosen]
    assert numbers[24] in ticked
    assert len(ticked) == 20


def with_a_random_blank(lab: Laboratory) -> MethodVersion:
    return add_method_version(
        by=lab.people["quality manager"], at=NOW, code="AR-9", title="Aqua regia", area="geochemistry",
        valid_from=date(2026, 1, 1), matrices=["soil"], lines=[], criteria=[], standards=[],
        determinations=[{"element": "Cu", "unit": "mg/kg"}],
        version={
            "what_was_done": "aqua regia", "dissolution": "aqua regia", "solution_kind": "mass made up to volume",
            "solution_unit": "mg/L", "blank_rule": "judged, not subtracted", "weights_edition": "CIAAW 2024",
            "uncertainty_basis": "stated",
        },
        controls=[{"in_batch": True, "role": Role.METHOD_BLANK, "placing": Placing.RANDOM, "at_least": 3}],
    )  # fmt: skip


def test_a_random_order_is_the_one_that_was_shown_and_its_seed_is_kept(lab: Laboratory, as_role: AsRole) -> None:
    with_a_random_blank(lab)
    numbers, browser = numbers_of(lab, 9), as_role("preparer")
    shown = browser.get(reverse("begin-batch-order", args=["AR-9"]), {"samples": numbers, "seed": 4711})
    assert "4711" in shown.content.decode()
    browser.post(reverse("begin-batch", args=["AR-9"]), {"again": " ".join(numbers), "repeat": "first", "seed": 4711})
    batch = PreparationBatch.objects.get()
    made = [p.label if p.role == "sample" else p.role for p in batch.portions.order_by("tube")]
    assert made == [tube.sample or tube.what for tube in shown.context["order"].tubes]
    assert batch.seed == 4711


def test_a_caution_that_was_not_read_stops_the_batch(lab: Laboratory, as_role: AsRole) -> None:
    given = {"samples": numbers_of(lab, 1), "repeat": "first"}
    answer = as_role("preparer").post(reverse("begin-batch", args=["AR-7"]), given)
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


def test_a_form_that_is_sent_twice_begins_one_batch(lab: Laboratory, as_role: AsRole) -> None:
    numbers, browser = numbers_of(lab, 2), as_role("preparer")
    for _ in range(2):
        browser.post(reverse("begin-batch", args=["AR-7"]), sent([], again=" ".join(numbers)))
    assert PreparationBatch.objects.count() == 1


def test_a_number_that_is_not_there_is_said_and_what_was_ticked_stays(lab: Laboratory, as_role: AsRole) -> None:
    (number,) = numbers_of(lab, 1)
    answer = as_role("preparer").post(reverse("begin-batch", args=["AR-7"]), sent([number], again="KF26-09999"))
    assert "There is no sample KF26-09999." in answer.content.decode()
    assert [row.number for row, chosen in answer.context["waiting"] if chosen] == [number]


# ------------------------------------------------------------ scanned


@pytest.fixture
def shelf(lab: Laboratory) -> Laboratory:
    """Two samples wait (00001, 00002), one is locked (00003), one is struck (00004); one acid holds, one expired."""
    numbers = numbers_of(lab, 4)
    Sample.objects.filter(number=numbers[2]).update(acidified_at=TODAY)
    Sample.objects.filter(number=numbers[3]).update(struck_at=TODAY)
    an_acid(lab)
    an_acid(lab, "A-401", date(2026, 11, 1))
    return lab


@pytest.mark.parametrize(
    ("code", "kind", "words"),
    [
        ("KF26-00001", "sample", "NRD014 112.0 m, is in."),
        ("kf26-00001", "sample", "NRD014 112.0 m, is in."),
        ("KF26-00002", "nothing", "does not wait for AR-7: it is in B26-0001 already, tube 3."),
        ("KF26-00003", "nothing", "was acidified on arrival and may begin Wed 18 Nov, 08:00."),
        ("KF26-00004", "nothing", "it was struck from S26-0001."),
        ("KF26-09999", "nothing", "is neither a sample nor a lot"),
        ("A-402", "lot", "holds until 2027-01-05: it is in."),
        ("A-401", "expired", "expired on 2026-11-01. Take another lot."),
        ("L-2400", "nothing", "is a reference material: it is named where it is used."),
    ],
)
def test_a_scanned_code_says_what_it_is_to_the_batch(
    code: str, kind: str, words: str, shelf: Laboratory, as_role: AsRole
) -> None:
    browser = as_role("preparer")
    browser.post(reverse("begin-batch", args=["AR-7"]), sent(["KF26-00002"]))
    said = browser.get(reverse("begin-batch-scan", args=["AR-7"]), {"code": code}).json()
    assert said["kind"] == kind
    assert words in said["words"]


def test_a_sample_of_another_method_says_that_it_is_not_asked_for(lab: Laboratory, as_role: AsRole) -> None:
    with_a_random_blank(lab)
    number, *_ = numbers_of(lab, 1)
    said = as_role("preparer").get(reverse("begin-batch-scan", args=["AR-9"]), {"code": number}).json()
    assert said["words"] == f"{number} does not wait for AR-9: S26-0001 does not ask for it."


def test_without_a_script_what_is_scanned_is_ticked_and_nothing_is_begun(shelf: Laboratory, as_role: AsRole) -> None:
    browser, address = as_role("preparer"), reverse("begin-batch", args=["AR-7"])
    answer = browser.post(address, {"scan": "KF26-00002", "samples": ["KF26-00001"], "repeat": "first"})
    assert [row.number for row, chosen in answer.context["waiting"] if chosen] == ["KF26-00001", "KF26-00002"]
    answer = browser.post(address, {"scan": "A-402", "samples": ["KF26-00001"], "repeat": "first"})
    assert answer.context["form"]["reagents"].value() == [str(Lot.objects.get(number="A-402").pk)]
    assert not PreparationBatch.objects.exists()


def test_a_scanned_reagent_goes_on_the_record(shelf: Laboratory, as_role: AsRole) -> None:
    acid = Lot.objects.get(number="A-402")
    as_role("preparer").post(reverse("begin-batch", args=["AR-7"]), sent(["KF26-00001"], reagents=[acid.pk]))
    assert list(PreparationBatch.objects.get().reagents.all()) == [acid]


# ------------------------------------------------------------ how often the database is asked


@pytest.fixture
def sixty(lab: Laboratory) -> Laboratory:
    """60 samples of 8 submissions wait, two of them locked; another batch is on the bench."""
    for place in range(8):
        a_submission(lab, 8 if place < 4 else 7, names=[f"hole {place}, {n} m" for n in range(8 if place < 4 else 7)])
    Sample.objects.filter(number__in=["KF26-00001", "KF26-00059"]).update(acidified_at=TODAY)
    an_acid(lab)
    return lab


@pytest.mark.parametrize("page", ["preparation", "begin-batch", "batch"])
def test_no_page_of_the_bench_asks_more_than_thirty_times(
    page: str, sixty: Laboratory, as_role: AsRole, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    a_weighed_batch(sixty, a_submission(sixty, 20, names=[f"weighed {n}" for n in range(20)]))
    address = reverse(page, args={"preparation": [], "begin-batch": ["AR-7"], "batch": ["B26-0001"]}[page])
    browser = as_role("preparer")
    with django_assert_max_num_queries(30):
        assert browser.get(address).status_code == 200
