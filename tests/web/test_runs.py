"""Pages of runs: planned, read, evaluated; they open on what failed."""

from collections.abc import Callable

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from labresults.models import Evaluation, ReadingFile, Run
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


def looked_at(browser: Client, lab: Laboratory, run: Run, content: bytes, **changed: object) -> str:
    given: dict[str, object] = {
        "file": SimpleUploadedFile("night.csv", content),
        "layout": lab.layout.pk,
        "measured_from": "2026-11-16T20:00",
        "measured_to": "2026-11-17T04:18",
    }
    return posted(browser, "import-readings", run.number, **given | changed)


def taken(browser: Client, lab: Laboratory, run: Run, content: bytes) -> str:
    page = looked_at(browser, lab, run, content)
    sha256 = page.partition('name="sha256" value="')[2].partition('"')[0]
    return posted(
        browser, "import-readings", run.number, sha256=sha256, filename="night.csv", layout=lab.layout.pk,
        measured_from="2026-11-16T20:00", measured_to="2026-11-17T04:18",
    )  # fmt: skip


def test_weighed_portions_wait_to_be_planned_and_the_run_list_goes_to_the_instrument(
    lab: Laboratory, as_role: AsRole
) -> None:
    batch = a_weighed_batch(lab, a_submission(lab))
    browser = as_role("analyst")
    assert "KF26-00001" in words(browser, "plan-run", method="AR-7")
    portions = list(batch.portions.values_list("pk", flat=True))
    answer = browser.post(
        reverse("plan-run") + "?method=AR-7", {"portion": portions, "instrument": lab.spectrometer.pk}, follow=True
    )
    assert "Run R26-0001 is planned." in answer.content.decode()
    listed = browser.get(reverse("run-list", args=["R26-0001"]))
    assert listed.content.decode().splitlines()[1] == "1,STD 0,calibration blank,1"
    assert "attachment" in listed["Content-Disposition"]


@pytest.mark.parametrize("written", ["0.5", "nan", "1,5", "two"])
def test_a_dilution_that_is_no_factor_is_refused(lab: Laboratory, as_role: AsRole, written: str) -> None:
    batch = a_weighed_batch(lab, a_submission(lab, 1))
    portion = batch.portions.get(role="sample")
    given = {"portion": [portion.pk], f"dilution-{portion.pk}": written, "instrument": lab.spectrometer.pk}
    page = as_role("analyst").post(reverse("plan-run") + "?method=AR-7", given).content.decode()
    assert "the dilution is a factor of at least 1" in page
    assert not Run.objects.exists()


def test_a_file_is_looked_at_first_and_taken_then(lab: Laboratory, planned: Run, as_role: AsRole) -> None:
    browser = as_role("analyst")
    page = looked_at(browser, lab, planned, a_reading_file(planned))
    assert "positions and lines are those of the plan" in page
    assert not ReadingFile.objects.exists()

    assert "are taken" in taken(browser, lab, planned, a_reading_file(planned))
    file = ReadingFile.objects.get()
    assert bytes(file.content) == a_reading_file(planned)
    assert (file.measured_to - file.measured_from).total_seconds() == (8 * 60 + 18) * 60


def test_every_problem_of_a_file_is_shown_at_its_row_and_nothing_is_stored(
    lab: Laboratory, planned: Run, as_role: AsRole
) -> None:
    spoiled = a_reading_file(planned).replace(b",CCV 1,", b",CCV X,")
    page = looked_at(as_role("analyst"), lab, planned, spoiled)
    assert "“CCV X” here and “CCV 1” in the plan" in page
    assert "Take these readings" not in page
    assert not ReadingFile.objects.exists()


def test_the_same_bytes_lead_to_where_they_were_taken(lab: Laboratory, planned: Run, as_role: AsRole) -> None:
    content = a_reading_file(planned)
    an_imported_file(lab, planned, content)
    page = looked_at(as_role("analyst"), lab, planned, content)
    assert "These very bytes were taken before" in page
    assert reverse("run", args=[planned.number]) in page
    assert "Take these readings" not in page


def test_a_second_file_of_lines_that_were_read_is_told_so(lab: Laboratory, planned: Run, as_role: AsRole) -> None:
    an_imported_file(lab, planned)
    page = looked_at(as_role("analyst"), lab, planned, a_reading_file(planned, factors={("CCV 1", "Pb"): 1.01}))
    assert f"run {planned} has its readings of Pb 220.353 already." in page
    assert "the method of this run does not have this line" not in page
    assert "Take these readings" not in page


def test_a_hash_that_was_not_looked_at_takes_nothing(lab: Laboratory, planned: Run, as_role: AsRole) -> None:
    page = posted(
        as_role("analyst"), "import-readings", planned.number, sha256="0" * 64, filename="x", layout=lab.layout.pk,
        measured_from="2026-11-16T20:00", measured_to="2026-11-17T04:18",
    )  # fmt: skip
    assert "not kept any more" in page
    assert not ReadingFile.objects.exists()


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
