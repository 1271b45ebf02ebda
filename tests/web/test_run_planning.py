"""The plan of a run on its page: what is offered, its list put in order without a script, each broken rule shown."""

from collections.abc import Callable
from html import unescape
from re import findall

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from labresults.actions.batches import discard_portion
from labresults.actions.materials import record_equipment_check, register_equipment
from labresults.calculation.tray import Tray
from labresults.models import Lot, PreparationBatch, Run
from labresults.queries.run_planning import PLASMA
from labresults.terms import EquipmentKind
from tests.builders import NOW, Laboratory, a_method, a_run, a_submission, a_weighed_batch, an_evaluated_run

AsRole = Callable[[str], Client]
PLAN = "/runs/plan?method=AR-7"


@pytest.fixture
def batch(lab: Laboratory) -> PreparationBatch:
    return a_weighed_batch(lab, a_submission(lab))


def filled(lab: Laboratory, batch: PreparationBatch, **given: object) -> dict[str, object]:
    """What the page's form holds for a batch, but for its list."""
    marked = list(batch.portions.order_by("tube").values_list("pk", flat=True))
    return {"portion": marked, "instrument": lab.spectrometer.pk, "form_key": "a-form", **given}


def order_of(page: str) -> list[str]:
    (order,) = findall(r'name="order" value="([^"]*)"', page)
    return order.split()


def labels_of(page: str) -> list[str]:
    return findall(r'<span class="what"><span class="id">([^<]*)</span>', page)


def text(answer: object) -> str:
    return unescape(answer.content.decode())  # type: ignore[attr-defined]


def test_an_old_test_solution_is_marked_and_a_discarded_one_not_offered(lab: Laboratory, as_role: AsRole) -> None:
    # given a method whose test solutions last 12 h, a batch made up at 10:00 the day before, and one tube spilled
    lab.version = a_method(lab.people["quality manager"], "AR-8", digest_life_h=12.0)
    batch = a_weighed_batch(lab, a_submission(lab))
    discard_portion(
        by=lab.people["preparer"], at=lab.later(), reason="spilled", portion=batch.portions.get(label="KF26-00002")
    )
    # when a run is planned at 8:00
    page = text(as_role("analyst").get(reverse("plan-run"), {"method": "AR-8"}))
    # then each of the five that stand says how old it is, and the spilled one is not there
    assert page.count("made up 21 h ago: AR-8 v1 keeps it for 12 h") == 5
    assert "KF26-00001" in page
    assert "KF26-00002" not in page


def test_the_page_opens_with_the_list_that_the_method_proposes(
    lab: Laboratory, batch: PreparationBatch, as_role: AsRole
) -> None:
    page = text(as_role("analyst").get(PLAN))
    assert labels_of(page)[3:7] == ["STD 3", "ICV 1", "B26-0001 MB1", "B26-0001 RM2"]
    assert "No rule of the method is broken." in page
    assert "13 positions: 1 × calibration blank, 3 × calibration standard" in page.replace("\xa0", " ")
    assert "no shape on record" in page


def test_the_page_warns_of_the_acids_and_of_the_plasma(
    lab: Laboratory, batch: PreparationBatch, as_role: AsRole
) -> None:
    page = text(as_role("analyst").get(PLAN))
    for heading, words in [["Hot acids", "Work under the hood."], *PLASMA]:
        assert heading in page
        assert words in page
    assert "Argon and nitrogen both displace air" in page
    assert "local codes and licensed practice decide" in page


def test_rack_and_cup_stand_beside_each_place(lab: Laboratory, batch: PreparationBatch, as_role: AsRole) -> None:
    quality = lab.people["quality manager"]
    tray = register_equipment(
        by=quality, at=NOW, code="P0", name="plasma", kind=EquipmentKind.SPECTROMETER, tray=Tray(2, 2, 4)
    )
    record_equipment_check(
        by=quality, at=NOW, equipment=tray, done_on=NOW.date(), due_on=NOW.date(), what="check", passed=True
    )
    browser = as_role("analyst")
    page = text(browser.post(PLAN, filled(lab, batch, instrument=tray.pk, step="list")))
    assert findall(r'<span class="cup">([^<]*)</span>', page)[6:10] == ["1:07", "1:08", "2:01", "2:02"]
    assert "2 racks of 2 rows × 4 places, counted along the rows: 16 places" in page
    assert "Its tray: 2 racks of 2 rows × 4 places" in text(browser.get(reverse("equipment-item", args=["P0"])))


@pytest.mark.parametrize(
    ("step", "more", "change"),
    [
        ("up:7", {}, lambda o: [*o[:5], o[6], o[5], *o[7:]]),
        ("down:6", {}, lambda o: [*o[:5], o[6], o[5], *o[7:]]),
        ("remove:13", {}, lambda o: o[:-1]),
        ("insert", {"insert": "c2", "insert_at": "9"}, lambda o: [*o[:8], "c2", *o[8:]]),
        ("list", {"at": [1, 2, 3, 4, 5, 7, 7, 8, 9, 10, 11, 12, 13]}, lambda o: [*o[:5], o[6], o[5], *o[7:]]),
        ("list", {}, lambda o: o),
    ],
)
def test_the_list_is_put_in_order_without_a_script(
    lab: Laboratory,
    batch: PreparationBatch,
    as_role: AsRole,
    step: str,
    more: dict[str, object],
    change: Callable[[list[str]], list[str]],
) -> None:
    browser = as_role("analyst")
    order = order_of(text(browser.get(PLAN)))
    given = filled(lab, batch, order=" ".join(order), step=step, **more)
    page = text(browser.post(PLAN, given))
    assert order_of(page) == change(order)
    assert not Run.objects.exists()
    # and what stands on the page then is what is planned
    browser.post(PLAN, filled(lab, batch, order=" ".join(order_of(page)), step="plan", reason="as it stands"))
    run = Run.objects.get()
    assert list(run.positions.order_by("number").values_list("label", flat=True)) == labels_of(page)


def test_a_broken_rule_is_shown_at_its_place_and_nothing_is_mended(
    lab: Laboratory, batch: PreparationBatch, as_role: AsRole
) -> None:
    browser = as_role("analyst")
    order = order_of(text(browser.get(PLAN)))
    page = text(browser.post(PLAN, filled(lab, batch, order=" ".join(order[:-1]), step="list")))
    assert "1\xa0rule is broken" in page
    assert '<a href="#place-12">Position 12</a>: no continuing calibration verification (CHECK) stands after' in page
    assert order_of(page) == order[:-1]
    # without a reason it is not planned, and the page keeps the list
    page = text(browser.post(PLAN, filled(lab, batch, order=" ".join(order[:-1]), step="plan")))
    assert "Mend the list, or give a reason that goes on record." in page
    assert order_of(page) == order[:-1]
    assert not Run.objects.exists()


def test_a_part_of_the_page_is_drawn_anew_while_the_list_is_moved(
    lab: Laboratory, batch: PreparationBatch, as_role: AsRole
) -> None:
    browser = as_role("analyst")
    order = order_of(text(browser.get(PLAN)))
    part = text(browser.post(PLAN, filled(lab, batch, order=" ".join(order[::-1])), headers={"HX-Request": "true"}))
    assert "<html" not in part
    assert order_of(part) == order[::-1]
    assert "rules are broken" in part
    assert not Run.objects.exists()


def test_what_is_marked_otherwise_makes_the_list_anew_and_says_so(
    lab: Laboratory, batch: PreparationBatch, as_role: AsRole
) -> None:
    browser = as_role("analyst")
    order = order_of(text(browser.get(PLAN)))
    fewer = filled(lab, batch, order=" ".join(order))
    fewer["portion"] = fewer["portion"][:-1]  # type: ignore[index]
    page = text(browser.post(PLAN, fewer | {"step": "plan"}))
    assert "What is marked has changed, so the list was made anew." in page
    # one test solution less, and so the check among them and the one at the end are one
    assert len(order_of(page)) == len(order) - 2
    assert not Run.objects.exists()


def test_no_valid_lot_is_said_at_its_place(lab: Laboratory, batch: PreparationBatch, as_role: AsRole) -> None:
    Lot.objects.filter(material__code="STD-1").update(expires_on="2026-01-06")
    page = text(as_role("analyst").get(PLAN))
    assert "Cannot stand." in page
    assert "No lot of STD-1 is valid on" in page


def test_a_list_that_names_something_else_is_refused_in_words(
    lab: Laboratory, batch: PreparationBatch, as_role: AsRole
) -> None:
    browser = as_role("analyst")
    order = " ".join([*order_of(text(browser.get(PLAN))), "c77"])
    assert "names c77, which is not in this plan" in text(
        browser.post(PLAN, filled(lab, batch, order=order, step="list"))
    )


def test_the_same_form_sent_twice_leads_to_the_one_run(
    lab: Laboratory, batch: PreparationBatch, as_role: AsRole
) -> None:
    browser = as_role("analyst")
    for _ in range(2):
        answer = browser.post(PLAN, filled(lab, batch, step="plan"))
        assert answer.url == reverse("run", args=["R26-0001"])  # type: ignore[attr-defined]
    assert Run.objects.count() == 1


def test_a_run_is_planned_anew_from_its_page(lab: Laboratory, batch: PreparationBatch, as_role: AsRole) -> None:
    # given a run of which nothing was read
    run = a_run(lab, batch)
    browser = as_role("analyst")
    address = reverse("plan-run") + f"?replaces={run.number}"
    assert address in text(browser.get(reverse("run", args=[run.number])))
    # when the plan is opened anew and one sample left out
    page = text(browser.get(address))
    assert page.count(" checked") == 6
    given = filled(lab, batch, step="plan")
    given["portion"] = [pk for pk in given["portion"] if pk != batch.portions.get(label="KF26-00002").pk]  # type: ignore[attr-defined]
    browser.post(address, given)
    # then each says what became of it, in the list too
    assert "Replaced by" in text(browser.get(reverse("run", args=[run.number])))
    assert "in place of" in text(browser.get(reverse("run", args=["R26-0002"])))
    assert "replaced by R26-0002" in text(browser.get(reverse("runs")))


def test_what_is_asked_for_again_stands_first_with_its_own_cause(lab: Laboratory, as_role: AsRole) -> None:
    # given copper over range in one sample, and another submission that waits
    over = {"KF26-00002": {"Cu": 4500.0, "Pb": 35.0}}
    evaluation = an_evaluated_run(lab, a_submission(lab, 3), contents=over)
    waiting = a_weighed_batch(lab, a_submission(lab, 1, names=["next"]))
    again = evaluation.run.positions.get(label="KF26-00002").portion
    browser = as_role("analyst")
    # when the next run of the method is planned
    page = text(browser.get(PLAN))
    # then it stands before the batches, marked, at the proposed factor and with the cause
    assert page.index("Asked for again") < page.index(f'Batch <a class="id" href="/preparation/{waiting}"')
    assert f'name="dilution-{again.pk}" value="10"' in page
    assert f"{evaluation.run.number}, position 9:" in page
    # and keeps its cause beside the reason of the run
    cause = findall(rf'name="cause-{again.pk}"[^>]*>([^<]*)<', page)[0]
    marked = [*waiting.portions.values_list("pk", flat=True), again.pk]
    browser.post(
        PLAN,
        {"portion": marked, f"dilution-{again.pk}": "10", f"cause-{again.pk}": cause, "step": "plan",
         "instrument": lab.spectrometer.pk},
    )  # fmt: skip
    position = Run.objects.latest("pk").positions.get(portion=again, role="sample")
    assert (position.dilution, position.repeat, position.repeat_cause) == (10.0, "re-dilute", cause)
    assert "Asked for again" not in text(browser.get(PLAN))


def test_the_page_makes_few_queries(
    lab: Laboratory, as_role: AsRole, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    over = {"KF26-00002": {"Cu": 4500.0, "Pb": 35.0}}
    an_evaluated_run(lab, a_submission(lab, 3), contents=over)
    a_weighed_batch(lab, a_submission(lab, 9, names=[f"n{n}" for n in range(9)]))
    browser = as_role("analyst")
    with django_assert_max_num_queries(30):
        assert "The run list" in text(browser.get(PLAN))


def test_the_choice_of_a_method_says_what_waits_and_what_is_asked_for_again(lab: Laboratory, as_role: AsRole) -> None:
    an_evaluated_run(lab, a_submission(lab, 3), contents={"KF26-00002": {"Cu": 4500.0, "Pb": 35.0}})
    a_weighed_batch(lab, a_submission(lab, 1, names=["next"]))
    page = text(as_role("analyst").get(reverse("plan-run")))
    assert 'data-l="Portions waiting">4<' in page
    assert 'data-l="Asked for again">1<' in page
