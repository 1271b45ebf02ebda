"""A run list put in order in a real browser: by drag, by key, by number; broken rules come and go while it is moved."""

from collections.abc import Callable, Iterator
from datetime import timedelta

import pytest
from playwright.sync_api import Browser, Response, expect

from labresults.models import Run
from tests.builders import NOW, Laboratory, a_submission, a_weighed_batch
from tests.journeys.desk import Desk, signed_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NO_SUCH_RULE = "No rule of the method is broken."


@pytest.fixture(autouse=True)
def a_day_in_the_laboratorys_year(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages take the time from Django; the instruments of the builders hold for this year only."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW + timedelta(days=2))


@pytest.fixture
def desk(live_server: object, lab: Laboratory, chromium: Browser) -> Iterator[Desk]:
    """The analyst before the plan of a batch: 13 places, the check at the end among them."""
    a_weighed_batch(lab, a_submission(lab))
    with signed_in(chromium, live_server.url, "analyst") as desk:  # type: ignore[attr-defined]
        desk.go("/runs/plan?method=AR-7")
        yield desk


def labels(desk: Desk) -> list[str]:
    return desk.page.locator("[data-run-list] .what > .id:first-child").all_inner_texts()


def answered(desk: Desk, do: Callable[[], object]) -> None:
    """Do something that the server draws the list anew for, and wait until it has."""

    def is_list(response: Response) -> bool:
        return response.request.method == "POST" and "/runs/plan" in response.url

    desk.page.locator("[data-run-list]").evaluate("list => list.classList.add('before')")
    with desk.page.expect_response(is_list):
        do()
    desk.page.wait_for_selector("[data-run-list]:not(.before)")
    desk.settled()


def is_focused(desk: Desk, label: str) -> None:
    expect(desk.page.get_by_label(label, exact=True)).to_be_focused()


def test_a_place_is_moved_by_keyboard_and_keeps_the_focus(desk: Desk) -> None:
    keyboard = desk.page.keyboard
    before = labels(desk)
    desk.page.get_by_label("Place of KF26-00002").focus()
    answered(desk, lambda: keyboard.press("Alt+ArrowUp"))
    assert labels(desk) == [*before[:7], before[8], before[7], *before[9:]]
    is_focused(desk, "Place of KF26-00002")
    answered(desk, lambda: keyboard.press("Alt+ArrowDown"))
    assert labels(desk) == before
    # a number that is written moves it too, and Enter does not plan the run
    desk.page.get_by_label("Place of KF26-00002").fill("8")
    answered(desk, lambda: keyboard.press("Enter"))
    assert labels(desk)[7] == "KF26-00002"
    # and so does a button that the keyboard reaches
    desk.page.get_by_label("KF26-00002 one place down").focus()
    answered(desk, lambda: keyboard.press("Enter"))
    assert labels(desk) == before
    is_focused(desk, "KF26-00002 one place down")
    assert not Run.objects.exists()


def test_a_place_is_dragged_and_the_rule_that_it_breaks_is_shown_at_once(desk: Desk) -> None:
    # given the duplicate behind its sample
    desk.says(NO_SUCH_RULE)
    desk.page.set_viewport_size({"width": 1280, "height": 2000})
    rows = desk.page.locator("[data-run-list] > li")
    grip = rows.filter(has_text="KF26-00003 D").locator("[data-grip]").bounding_box()
    target = rows.filter(has_text="KF26-00001").bounding_box()
    assert grip
    assert target

    def drag() -> None:
        mouse = desk.page.mouse
        mouse.move(grip["x"] + 5, grip["y"] + 5)
        mouse.down()
        for step in range(1, 11):
            mouse.move(grip["x"] + 5, grip["y"] + (target["y"] + 3 - grip["y"]) * step / 10)
        mouse.up()

    # when it is dragged before it
    answered(desk, drag)
    # then the page says so at the place, and mends nothing
    assert labels(desk)[7] == "KF26-00003 D"
    desk.says("Position 8: KF26-00003 D stands before KF26-00003, which it is compared with. Move it behind.")
    desk.keep("plan-a-rule-is-broken")
    # and planned so it needs a reason
    desk.press("Plan this run")
    desk.says("give a reason that goes on record")
    assert labels(desk)[7] == "KF26-00003 D"
    assert not Run.objects.exists()
    desk.page.get_by_label("Reason").fill("the tube stood there already")
    desk.press("Plan this run")
    desk.says("is planned")
    assert Run.objects.get().positions.get(number=8).label == "KF26-00003 D"


def test_a_check_is_taken_out_and_put_in_again(desk: Desk) -> None:
    desk.page.get_by_label("Take CCV 1 out").focus()
    answered(desk, lambda: desk.page.keyboard.press("Enter"))
    desk.says("more than 5 test solutions stand without a continuing calibration verification (CHECK)")
    desk.page.get_by_label("Put in").select_option(label="continuing calibration verification, CHECK")
    desk.page.get_by_label("before place").fill("11")
    answered(desk, lambda: desk.page.get_by_role("button", name="Put in").click())
    assert labels(desk)[10] == "CCV 1"
    desk.says(NO_SUCH_RULE)
    desk.press("Plan this run")
    desk.says("is planned")
    assert list(Run.objects.get().positions.order_by("number").values_list("label", flat=True))[10] == "CCV 1"


def test_what_is_unmarked_leaves_the_list(desk: Desk) -> None:
    box = desk.page.get_by_role("checkbox", name="KF26-00003 D")
    answered(desk, box.uncheck)
    assert "KF26-00003 D" not in labels(desk)
    desk.says("the list was made anew")
