"""A run's page by its parts: pictures that lead to positions, curves with what they are worth, parts of a long run."""

import re
from collections.abc import Callable
from html import unescape

import pytest
from django.test import Client
from django.urls import reverse

from labresults.actions.evaluation import evaluate_run
from labresults.models import Evaluation
from labresults.plots.matrix import State
from labresults.queries import run_failures, run_positions
from labresults.queries.run_pages import run_page
from labresults.queries.run_pictures import RunPictures
from tests.builders import Laboratory, a_submission, an_evaluated_run

AsRole = Callable[[str], Client]
OVER = {"KF26-00002": {"Cu": 4500.0, "Pb": 35.0}, "KF26-00003": {"Cu": 0.1, "Pb": 35.0}}


@pytest.fixture
def night(lab: Laboratory) -> Evaluation:
    """Eight samples: one over range, one below the detection limit, one not read; a check of lead failed."""
    return an_evaluated_run(
        lab, a_submission(lab, 8), contents=OVER, factors={("CCV 1", "Pb"): 1.2}, words={("KF26-00004", "Cu"): "none"}
    )


def words(browser: Client, evaluation: Evaluation, query: str = "") -> str:
    answer = browser.get(reverse("run", args=[evaluation.run.number]) + query)
    assert answer.status_code == 200
    return answer.content.decode()


def text(page: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).split())


def test_each_reading_says_what_is_to_be_known_of_it(night: Evaluation) -> None:
    matrix = RunPictures(run_page(night.run.number)).matrix()
    number = {p.label: p.number for p in night.run.positions.all()}
    said = {
        (line, position): state
        for line, row in zip(matrix.lines, matrix.states, strict=True)
        for position, state in zip(matrix.positions, row, strict=True)
    }
    touched = night.outcomes.get(verdict="outside").touches
    assert said["Cu 324.754", number["KF26-00001"]] is State.HELD
    assert said["Cu 324.754", number["KF26-00002"]] is State.OVER_RANGE
    assert said["Cu 324.754", number["KF26-00003"]] is State.BELOW
    assert said["Cu 324.754", number["KF26-00004"]] is State.NOT_READ
    assert said["Pb 220.353", number["CCV 1"]] is State.FAILED
    assert {said["Pb 220.353", place] for place in touched} == {State.TOUCHED}
    assert {said["Cu 324.754", place] for place in touched} != {State.TOUCHED}


def test_marks_lead_to_their_position_and_lines_to_their_curve(night: Evaluation, as_role: AsRole) -> None:
    page = words(as_role("analyst"), night)
    picture = page.partition('<svg class="readings"')[2].partition("</svg>")[0]
    over = night.run.positions.get(label="KF26-00002").number
    assert f'<a href="#p{over}"><title>Cu 324.754, position {over}: over range</title>' in picture
    assert f'id="p{over}"' in page
    assert 'line=Pb+220.353#cal"' in picture


def test_the_line_that_failed_is_drawn_first_and_others_are_one_link_away(night: Evaluation, as_role: AsRole) -> None:
    browser = as_role("analyst")
    page = words(browser, night)
    assert "Pb 220.353 nm, calibration." in page
    assert "Pb 220.353 leaves 90–110 %: 120 % at position" in page
    link = re.search(r'href="([^"]*line=Cu\+324\.754[^"]*)#cal"', page)
    assert link
    assert "Cu 324.754 nm, calibration." in browser.get(unescape(link[1])).content.decode()


def test_every_curve_says_what_it_is_worth(lab: Laboratory, night: Evaluation, as_role: AsRole) -> None:
    page = text(words(as_role("analyst"), night))
    assert "Curves Line Fitted r Rel. std. error %" in page
    assert "6010D (2018), 10.7" in page


def test_a_working_range_that_shrank_is_said(lab: Laboratory, night: Evaluation, as_role: AsRole) -> None:
    top = night.run.positions.filter(role="calibration standard").order_by("number").last()
    evaluate_run(
        by=lab.people["analyst"], at=lab.later(), run=night.run, reason="spilled",
        left_out=[(top.number, "Cu 324.754")],
    )  # fmt: skip
    page = text(words(as_role("analyst"), night))
    assert f"osition {top.number}" in page.partition("What to know")[2]
    assert "the working range ends at 1 mg/L" in page


def test_a_whole_solution_is_left_out_by_one_tick(night: Evaluation, as_role: AsRole) -> None:
    browser = as_role("analyst")
    browser.post(reverse("evaluate-run", args=[night.run.number]), {"reason": "spilled", "left_out": ["3|*"]})
    assert night.run.evaluations.latest("version").left_out == [[3, "Cu 324.754"], [3, "Pb 220.353"]]


@pytest.fixture
def short_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    """A page holds six positions."""
    monkeypatch.setattr(run_positions, "WHOLE", 6)
    monkeypatch.setattr(run_positions, "PER_PART", 6)


@pytest.mark.usefixtures("short_parts")
def test_a_long_run_is_shown_in_parts_and_links_open_the_part_of_their_position(
    night: Evaluation, as_role: AsRole
) -> None:
    browser = as_role("analyst")
    over = night.run.positions.get(label="KF26-00002").number
    first = words(browser, night)
    assert 'id="p6"' in first
    assert 'id="p7"' not in first
    address = f"at={over}#p{over}"
    assert address in first
    assert f'id="p{over}"' in words(browser, night, f"?at={over}")


@pytest.mark.usefixtures("short_parts")
@pytest.mark.parametrize("query", ["?at=9999", "?at=x", "?block=7", "?line=nothing", "?only=nothing", "?criterion=0"])
def test_what_nobody_can_mean_shows_the_page_all_the_same(night: Evaluation, as_role: AsRole, query: str) -> None:
    assert 'id="p1"' in words(as_role("analyst"), night, query)


def test_positions_are_shown_at_chosen_lines(night: Evaluation, as_role: AsRole) -> None:
    page = words(as_role("analyst"), night, "?only=Cu+324.754")
    heads = page.partition('class="ledger positions')[2].partition("</thead>")[0]
    assert "324.754" in heads
    assert "220.353" not in heads


def test_many_failures_of_one_criterion_stand_together_and_are_accepted_together(
    lab: Laboratory, as_role: AsRole, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Given more failures of one criterion than a group shows; then it says so, can be opened, is accepted at once."""
    monkeypatch.setattr(run_failures, "SHOWN", 2)
    factors = {(f"CCV {n}", element): 1.3 for n in range(1, 9) for element in ("Cu", "Pb")}
    evaluation = an_evaluated_run(lab, a_submission(lab, 20), factors=factors)
    failed = evaluation.outcomes.filter(verdict="outside", position__role="continuing calibration verification")
    criterion, count = failed.first().criterion_id, failed.count()
    browser = as_role("analyst")
    page = words(browser, evaluation)
    assert f"{count} failed" in page
    assert f"Show {count - 2} more" in page
    assert f"Show {count - 2} more" not in words(browser, evaluation, f"?criterion={criterion}")

    browser.post(
        reverse("accept-control", args=[evaluation.run.number]), {"criteria": [criterion], "reason": "the pump"}
    )
    assert not failed.filter(acceptance__isnull=True).exists()
    assert f"{count} accepted" in words(browser, evaluation)


def test_nothing_marked_accepts_nothing(lab: Laboratory, night: Evaluation, as_role: AsRole) -> None:
    address = reverse("accept-control", args=[night.run.number])
    page = as_role("analyst").post(address, {"reason": "the pump"}, follow=True).content.decode()
    assert "Mark what is to be accepted." in page
    assert not night.outcomes.filter(acceptance__isnull=False).exists()
