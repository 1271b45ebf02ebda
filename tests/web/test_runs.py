"""Pages of runs: planned, read, evaluated; they open on what failed."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from labresults.models import Evaluation, Run
from tests.builders import (
    Laboratory,
    a_reading_file,
    a_run,
    a_submission,
    a_weighed_batch,
    an_evaluated_run,
    an_imported_file,
)

AsRole = Callable[[str], Client]


@pytest.fixture
def planned(lab: Laboratory) -> Run:
    return a_run(lab, a_weighed_batch(lab, a_submission(lab, 8)))


def words(browser: Client, page: str, *args: object, **query: object) -> str:
    answer = browser.get(reverse(page, args=args), query)
    assert answer.status_code == 200
    return answer.content.decode()


def posted(browser: Client, page: str, *args: object, **given: object) -> str:
    answer = browser.post(reverse(page, args=args), given, follow=True)
    assert answer.status_code == 200
    return answer.content.decode()


@pytest.mark.parametrize("written", ["0.5", "nan", "1,5", "two"])
def test_a_dilution_that_is_no_factor_is_refused(lab: Laboratory, as_role: AsRole, written: str) -> None:
    batch = a_weighed_batch(lab, a_submission(lab, 1))
    portion = batch.portions.get(role="sample")
    given = {"portion": [portion.pk], f"dilution-{portion.pk}": written, "instrument": lab.spectrometer.pk}
    page = as_role("analyst").post(reverse("plan-run") + "?method=AR-7", given).content.decode()
    assert "the dilution is a factor of at least 1" in page
    assert not Run.objects.exists()


def test_the_page_opens_on_what_failed_and_says_what_stands_on_it(lab: Laboratory, as_role: AsRole) -> None:
    run = a_run(lab, a_weighed_batch(lab, a_submission(lab, 8)))
    an_imported_file(lab, run, a_reading_file(run, factors={("CCV 1", "Pb"): 1.134}))
    browser = as_role("analyst")
    page = posted(browser, "evaluate-run", run.number)
    assert "The run is evaluated." in page
    assert "Pb 220.353" in page
    assert "113.4" in page
    assert page.index("113.4") < page.index("Positions")
    assert reverse("sample", args=["KF26-00001"]) in page


def test_evaluating_again_without_a_reason_is_refused_in_words(lab: Laboratory, as_role: AsRole) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab))
    browser = as_role("analyst")
    page = posted(browser, "evaluate-run", evaluation.run.number)
    assert "needs a reason that goes on record" in page
    page = posted(
        browser, "evaluate-run", evaluation.run.number, reason="standard 2 was old", left_out=["3|Cu 324.754"]
    )
    assert "The run is evaluated." in page
    assert Evaluation.objects.latest("pk").left_out == [[3, "Cu 324.754"]]
    assert "evaluation 1" in page.lower()


def test_a_failed_control_is_accepted_by_name_only_with_a_reason(lab: Laboratory, as_role: AsRole) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab), factors={("CCV 1", "Pb"): 1.2})
    failed = evaluation.outcomes.get(verdict="outside")
    browser = as_role("analyst")
    posted(browser, "accept-control", evaluation.run.number, outcomes=[failed.pk], reason="")
    assert not hasattr(type(failed).objects.get(pk=failed.pk), "acceptance")
    page = posted(browser, "accept-control", evaluation.run.number, outcomes=[failed.pk], reason="the pump")
    assert "Accepted by name" in page
    assert type(failed).objects.get(pk=failed.pk).acceptance.made_by == lab.people["analyst"]


def test_what_is_over_range_is_planned_again_at_the_dilution_that_was_proposed(
    lab: Laboratory, as_role: AsRole
) -> None:
    over = {"KF26-00002": {"Cu": 4500.0, "Pb": 35.0}}
    evaluation = an_evaluated_run(lab, a_submission(lab, 3), contents=over)
    portion = evaluation.run.positions.get(label="KF26-00002").portion
    browser = as_role("analyst")
    page = words(browser, "plan-run", again=evaluation.run.number)
    assert page.count(" checked") == 1
    assert f'name="dilution-{portion.pk}" value="10"' in page

    address = reverse("plan-run") + f"?again={evaluation.run.number}"
    given = {
        "portion": [portion.pk],
        f"dilution-{portion.pk}": "10",
        "instrument": lab.spectrometer.pk,
        "reason": "Cu over range",
    }
    browser.post(address, given)

    repeat = Run.objects.latest("pk").positions.get(portion=portion)
    assert (repeat.dilution, repeat.repeat_cause) == (10.0, "Cu over range")
    assert "1 of them already in R26-0002" in words(browser, "run", evaluation.run.number)
    assert " checked" not in words(browser, "plan-run", again=evaluation.run.number)


def test_a_failed_batch_control_is_read_again_with_what_it_touches(lab: Laboratory, as_role: AsRole) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab, 2), contents={"B26-0001 MB1": {"Cu": 1.0}})
    failed = evaluation.outcomes.get(verdict="outside")
    page = words(as_role("analyst"), "plan-run", again=evaluation.run.number)
    assert f'value="{failed.position.portion_id}" checked' in page


def test_an_older_evaluation_stays_readable_and_says_that_it_is_older(lab: Laboratory, as_role: AsRole) -> None:
    number = an_evaluated_run(lab, a_submission(lab)).run.number
    browser = as_role("analyst")
    posted(browser, "evaluate-run", number, reason="standard 2 was old", left_out=["3|Cu 324.754"])
    page = words(browser, "run", number, evaluation=1)
    assert "This is evaluation 1; the newest is" in page
    assert "Accept by name" not in page


@pytest.mark.parametrize(
    "address",
    ["/runs/R99-0001", "/runs/R26-0001?evaluation=7", "/runs/plan?method=NONE", "/runs/plan?again=R99-0001"],
)
def test_what_is_not_there_is_said_and_is_no_fault(lab: Laboratory, as_role: AsRole, address: str) -> None:
    an_evaluated_run(lab, a_submission(lab))
    assert as_role("analyst").get(address).status_code == 404


def test_a_clients_own_words_are_never_markup(lab: Laboratory, as_role: AsRole) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab, names=['<b>&"x']))
    assert "<b>&" not in words(as_role("analyst"), "run", evaluation.run.number)


@pytest.mark.parametrize("page", ["runs", "run", "plan-run", "import-readings"])
def test_pages_make_few_queries(
    lab: Laboratory,
    as_role: AsRole,
    page: str,
    django_assert_max_num_queries: Callable[[int], object],
) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab, 20), factors={("CCV 2", "Pb"): 1.2})
    a_weighed_batch(lab, a_submission(lab, 20, names=[f"z{n}" for n in range(20)]))
    args = [evaluation.run.number] if page in {"run", "import-readings"} else []
    query = {"method": "AR-7"} if page == "plan-run" else {}
    browser = as_role("analyst")
    with django_assert_max_num_queries(30):  # type: ignore[attr-defined]
        words(browser, page, *args, **query)
