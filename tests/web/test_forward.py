"""From a doubtful thing forward: what it touched, who has it, a case of it; asked seldom, and as one file."""

from collections.abc import Callable
from urllib.parse import urlencode

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from labresults.models import NonconformingWork, Result
from labresults.queries.forward import Doubt, touched_results
from labresults.queries.nonconforming import case
from labresults.terms import DoubtKind, NonconformingAct
from reports.models import Notice
from tests.builders import Laboratory, a_certificate, a_submission, an_evaluated_run, approved

AsRole = Callable[[str], Client]
WORDS = {"what": "The stock holds 3.4 % more than stated.", "effect": "Results are too low.", "hold": "on"}


@pytest.fixture
def two_runs(lab: Laboratory) -> dict[str, str]:
    """Numbers of two submissions measured in runs of their own; the first is on a certificate."""
    first, second = a_submission(lab, 2, names=["a", "b"]), a_submission(lab, 1, names=["c"])
    for one in (first, second):
        an_evaluated_run(lab, one)
    a_certificate(lab, approved(lab, first))
    return {"first": first.number, "second": second.number}


@pytest.mark.parametrize(
    ("kind", "name", "submissions"),
    [
        ("lot", "L-2201", ["first", "second"]),  # a calibration standard
        ("lot", "L-2300", ["first", "second"]),  # the check
        ("lot", "L-2400", ["first", "second"]),  # the reference material in every batch
        ("material", "GC-17", ["first", "second"]),
        ("equipment", "B2", ["first", "second"]),
        ("equipment", "P1", ["first", "second"]),
        ("run", "R26-0001", ["first"]),
        ("run", "R26-0002", ["second"]),
        ("batch", "B26-0002", ["second"]),
        ("method", "AR-7", ["first", "second"]),
        ("method", "AR-7 v1", ["first", "second"]),
        ("person", "analyst", ["first", "second"]),
        ("person", "reviewer", ["first"]),
        ("person", "auditor", []),
    ],
)
def test_what_a_thing_touched(kind: str, name: str, submissions: list[str], two_runs: dict[str, str]) -> None:
    found = touched_results(Doubt(DoubtKind(kind), name)).values_list("sample__submission__number", flat=True)
    assert set(found) == {two_runs[one] for one in submissions}


def test_a_period_keeps_what_was_measured_in_it(two_runs: dict[str, str]) -> None:
    first, second = (
        Result.objects.filter(sample__submission__number=number).latest("pk").evaluation.run.files.get()
        for number in two_runs.values()
    )
    assert first.measured_to <= second.measured_from

    def of(**period: object) -> set[str]:
        rows = touched_results(Doubt(DoubtKind.LOT, "L-2201", **period))  # type: ignore[arg-type]
        return set(rows.values_list("sample__submission__number", flat=True))

    assert of(until=first.measured_to) >= {two_runs["first"]}
    assert of(since=second.measured_from, until=second.measured_to) >= {two_runs["second"]}
    assert of(since=second.measured_to.replace(year=2027)) == set()


def test_only_one_element(two_runs: dict[str, str]) -> None:
    found = touched_results(Doubt(DoubtKind.LOT, "L-2201", element="Pb"))
    assert set(found.values_list("element", flat=True)) == {"Pb"}


def test_the_page_counts_and_names_who_has_it(two_runs: dict[str, str], as_role: AsRole) -> None:
    page = as_role("quality manager").get(reverse("forward"), {"kind": "lot", "name": "L-2201"}).content.decode()
    for words in ("It touched 6", "of 3", "on 1", "C26-0001, issue 1", two_runs["second"], "nobody fetched it"):
        assert words in page.replace("\N{NO-BREAK SPACE}", " "), words


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"kind": "lot", "name": "L-0000"}, "There is no lot L-0000."),
        ({"kind": "lot", "name": ""}, "Say which one."),
        ({"kind": "period"}, "Say from when or until when."),
        ({"kind": "period", "since": "2026-11-20", "until": "2026-11-19"}, "It ends before it begins."),
    ],
)
def test_what_cannot_be_asked_is_said_in_words(
    asked: dict[str, str], words: str, lab: Laboratory, as_role: AsRole
) -> None:
    answer = as_role("auditor").get(reverse("forward"), asked)
    assert answer.status_code == 200
    assert words in answer.content.decode()


def test_the_file_has_a_row_a_result(two_runs: dict[str, str], as_role: AsRole) -> None:
    answer = as_role("auditor").get(reverse("forward-file"), {"kind": "run", "name": "R26-0001"})
    lines = b"".join(answer.streaming_content).decode().splitlines()
    assert lines[0].startswith("sample,client's own identification,client,")
    assert len(lines) == 1 + 4
    assert all('"C26-0001, issue 1"' in line for line in lines[1:])


def test_a_text_that_a_spreadsheet_would_compute_is_kept_harmless(lab: Laboratory, as_role: AsRole) -> None:
    an_evaluated_run(lab, a_submission(lab, 1, names=["=1+1"]))
    answer = as_role("auditor").get(reverse("forward-file"), {"kind": "run", "name": "R26-0001"})
    assert ',"\'=1+1",' in b"".join(answer.streaming_content).decode()


def test_it_asks_as_seldom_when_ten_times_as_much_was_touched(
    lab: Laboratory, as_role: AsRole, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    browser = as_role("auditor")
    for number in range(4):
        an_evaluated_run(lab, a_submission(lab, 2, names=[f"a {number}", f"b {number}"]))
        a_certificate(lab, approved(lab, Result.objects.latest("pk").evaluation.run.positions.exclude(
            portion__subsample=None
        )[0].portion.subsample.sample.submission), draw=False)  # fmt: skip
    with django_assert_max_num_queries(24):
        assert browser.get(reverse("forward"), {"kind": "lot", "name": "L-2201"}).status_code == 200


def test_a_case_is_opened_held_told_released_and_closed(two_runs: dict[str, str], as_role: AsRole) -> None:
    browser = as_role("quality manager")
    asked = {"kind": "lot", "name": "L-2201", "element": "Pb"}
    opened = browser.post(reverse("open-nonconforming"), {**asked, **WORDS, "seen": 3, "query": urlencode(asked)})
    work = NonconformingWork.objects.get()
    assert opened.url == reverse("nonconforming-case", args=[work.number])
    page = browser.get(opened.url).content.decode()
    assert "on hold" in page
    assert WORDS["what"] in page

    tell = reverse("nonconforming-tell", args=[work.number])
    seen = browser.get(tell, {"certificate": "C26-0001/1"}).content.decode()
    assert "Ninefold Ridge prospect" in seen
    browser.post(tell, {"certificate": "C26-0001/1", "reason": "The maker wrote to us."})
    assert Notice.objects.get().work == work
    assert all("3.4" not in letter.body for letter in mail.outbox)

    step = reverse("nonconforming-step", args=[work.number])
    for act, text in [
        (NonconformingAct.CLOSE, "too early"), (NonconformingAct.JUDGE, "within U"),
        (NonconformingAct.RELEASE, "within U"), (NonconformingAct.CLOSE, "done"),
    ]:  # fmt: skip
        browser.post(step, {"step": act, "text": text})
    steps = [row.act for row in case(work.number).steps]
    assert steps == ["held", "clients told", "judged acceptable or not", "released", "closed"]
    assert "Close it" not in browser.get(opened.url).content.decode()


def test_a_case_that_was_not_seen_as_it_is_now_is_not_opened(two_runs: dict[str, str], as_role: AsRole) -> None:
    asked = {"kind": "lot", "name": "L-2201"}
    browser = as_role("quality manager")
    answer = browser.post(reverse("open-nonconforming"), {**asked, **WORDS, "seen": 2, "query": urlencode(asked)})
    assert answer.url == f"{reverse('forward')}?{urlencode(asked)}"
    assert "6 now" in browser.get(answer.url).content.decode()
    assert not NonconformingWork.objects.exists()


def test_only_who_may_open_one_is_offered_it(two_runs: dict[str, str], as_role: AsRole) -> None:
    asked = {"kind": "lot", "name": "L-2201"}
    offered = {role: "Open a case of" in as_role(role).get(reverse("forward"), asked).content.decode()
               for role in ("quality manager", "auditor", "analyst")}  # fmt: skip
    assert offered == {"quality manager": True, "auditor": False, "analyst": False}


def test_the_list_is_narrowed_by_where_a_case_stands(two_runs: dict[str, str], as_role: AsRole) -> None:
    browser = as_role("quality manager")
    for name in ("L-2201", "L-2202"):
        browser.post(reverse("open-nonconforming"), {"kind": "lot", "name": name, **WORDS, "seen": 6})
    browser.post(reverse("nonconforming-step", args=["N26-0001"]), {"step": NonconformingAct.RELEASE, "text": "x"})

    def listed(state: str) -> list[str]:
        rows = browser.get(reverse("nonconforming"), {"state": state}).context["table"].paginated_rows
        return [row.record.number for row in rows]

    assert (listed("hold"), listed("open"), listed("closed")) == (["N26-0002"], ["N26-0002", "N26-0001"], [])
