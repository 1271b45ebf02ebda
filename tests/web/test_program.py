"""Programs bring readings by a word of a person: the same act, the same rights, answers in JSON."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from labresults.actions.access import end_access_token, issue_access_token
from labresults.models import AccessToken, AuditEvent, ReadingFile, Run
from labresults.terms import WayIn
from labresults.web.views import program
from tests.builders import Laboratory, a_reading_file, a_run, a_submission, a_weighed_batch, an_imported_file

AsRole = Callable[[str], Client]
LAST = date(2026, 11, 20)


@pytest.fixture
def planned(lab: Laboratory) -> Run:
    return a_run(lab, a_weighed_batch(lab, a_submission(lab)))


@pytest.fixture
def word(lab: Laboratory) -> str:
    return issue_access_token(by=lab.people["analyst"], at=lab.later(), name="P1", expires_on=LAST).word


@pytest.fixture
def machine() -> Client:
    """A program: no session, and no page from which a token against forgery could come."""
    return Client(enforce_csrf_checks=True)


def bearer(word: str) -> dict[str, str]:
    return {"HTTP_AUTHORIZATION": f"Bearer {word}"}


def sent(machine: Client, run: object, word: str, content: bytes, **query: str) -> Any:
    address = reverse("program-readings", args=[str(run)])
    query = {"layout": "long", "filename": "night.csv"} | query
    return machine.post(address, content, content_type="text/csv", query_params=query, **bearer(word))


def test_a_file_is_brought_as_the_body(machine: Client, planned: Run, word: str, lab: Laboratory) -> None:
    answer = sent(machine, planned, word, a_reading_file(planned), measured_from="2026-11-16T20:00:00+01:00")
    file = ReadingFile.objects.get()
    assert (answer.status_code, answer.json()) == (
        201,
        {"run": planned.number, "file": "night.csv", "sha256": file.sha256},
    )
    assert (file.way, file.made_by) == (WayIn.PROGRAM, lab.people["analyst"])
    assert file.measured_from.isoformat() == "2026-11-16T19:00:00+00:00"
    assert '"way":"program"' in AuditEvent.objects.latest("seq").content


def test_a_file_is_brought_as_a_form(machine: Client, planned: Run, word: str) -> None:
    form = {"layout": "long", "file": SimpleUploadedFile("R1.csv", a_reading_file(planned))}
    answer = machine.post(reverse("program-readings", args=[planned.number]), form, **bearer(word))
    assert answer.status_code == 201
    assert ReadingFile.objects.get().name == "R1.csv"


def test_a_body_that_calls_itself_a_form_is_the_file_all_the_same(machine: Client, planned: Run, word: str) -> None:
    """Some programs say so of every body that they send."""
    answer = machine.post(
        reverse("program-readings", args=[planned.number]) + "?layout=long", a_reading_file(planned),
        content_type="application/x-www-form-urlencoded", **bearer(word),
    )  # fmt: skip
    assert answer.status_code == 201


def test_every_problem_is_in_the_answer_and_nothing_is_stored(machine: Client, planned: Run, word: str) -> None:
    answer = sent(machine, planned, word, a_reading_file(planned).replace(b",CCV 1,", b",CCV X,"))
    said = answer.json()
    assert answer.status_code == 422
    assert "nothing was taken" in said["error"]
    assert any("“CCV X” here and “CCV 1” in the plan" in problem["what"] for problem in said["problems"])
    assert all({"file", "what", "what_to_do"} <= set(problem) for problem in said["problems"])
    assert not ReadingFile.objects.exists()


def test_rows_are_left_out_and_names_matched_as_a_person_would(machine: Client, planned: Run, word: str) -> None:
    lines = a_reading_file(planned).decode().splitlines()
    content = "\n".join([*lines, lines[-1]]).encode()
    answer = sent(machine, planned, word, content, strike=f"{len(lines) + 1}:written twice")
    assert answer.status_code == 201
    assert ReadingFile.objects.get().struck == [[len(lines) + 1, "written twice"]]


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ({"layout": ""}, "layout: This field is required."),
        ({"layout": "none"}, "There is no layout none"),
        ({"strike": "12"}, "is no row with a reason"),
        ({"match": "KF=x"}, "is no name with a position"),
        ({"measured_from": "yesterday"}, "measured_from: Enter a valid date/time."),
    ],
)
def test_what_is_asked_wrongly_is_told(
    machine: Client, planned: Run, word: str, query: dict[str, str], says: str
) -> None:
    answer = sent(machine, planned, word, a_reading_file(planned), **query)
    assert answer.status_code == 422
    assert says in answer.json()["error"]


def test_the_same_bytes_are_told_where_they_are(machine: Client, planned: Run, word: str, lab: Laboratory) -> None:
    an_imported_file(lab, planned)
    answer = sent(machine, planned, word, a_reading_file(planned))
    assert answer.status_code == 409
    assert f"taken before, as {planned}.csv of run {planned}" in answer.json()["error"]


def test_a_run_that_is_not_there_is_told(machine: Client, planned: Run, word: str) -> None:
    assert sent(machine, "R26-0099", word, b"x").status_code == 404


def test_a_file_that_is_too_large_is_refused_unread(
    machine: Client, planned: Run, word: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(program, "MOST_BYTES", 10)
    assert sent(machine, planned, word, a_reading_file(planned)).status_code == 413


def opened_by(machine: Client, run: Run, **headers: str) -> tuple[int, str]:
    answer = machine.get(reverse("program-run", args=[run.number]), **headers)
    return answer.status_code, answer.content.decode()


def test_no_word_no_answer_and_always_the_same_words(
    machine: Client, planned: Run, word: str, lab: Laboratory, monkeypatch: pytest.MonkeyPatch, clock: Any
) -> None:
    ended = issue_access_token(by=lab.people["analyst"], at=lab.later(), name="old", expires_on=LAST)
    end_access_token(by=lab.people["analyst"], at=lab.later(), reason="sold", token=ended.token)
    answers = {opened_by(machine, planned, **headers) for headers in (
        {}, bearer("labresults-guess"), bearer(ended.word), {"HTTP_AUTHORIZATION": f"Basic {word}"},
    )}  # fmt: skip
    monkeypatch.setattr("django.utils.timezone.now", lambda: clock + timedelta(days=30))
    answers.add(opened_by(machine, planned, **bearer(word)))
    assert len(answers) == 1
    assert answers.pop()[0] == 401


def test_a_session_opens_nothing_here(planned: Run, as_role: AsRole) -> None:
    browser = as_role("analyst")
    assert browser.get(reverse("program-run", args=[planned.number])).status_code == 401
    assert browser.post(reverse("program-readings", args=[planned.number])).status_code == 401


def test_a_word_may_no_more_than_its_person(machine: Client, planned: Run, lab: Laboratory) -> None:
    # given a word of somebody who may issue words and may not load readings
    word = issue_access_token(by=lab.people["quality manager"], at=lab.later(), name="P1", expires_on=LAST).word
    answer = sent(machine, planned, word, a_reading_file(planned))
    assert answer.status_code == 403
    assert "may not import readings" in answer.json()["error"]


def test_a_word_of_somebody_without_a_role_any_more_opens_nothing(
    machine: Client, planned: Run, word: str, lab: Laboratory
) -> None:
    lab.people["analyst"].groups.clear()
    assert opened_by(machine, planned, **bearer(word))[0] == 403


@pytest.mark.parametrize("method", ["put", "delete", "get"])
def test_other_ways_of_asking_are_none(machine: Client, planned: Run, word: str, method: str) -> None:
    answer = getattr(machine, method)(reverse("program-readings", args=[planned.number]), **bearer(word))
    assert answer.status_code == 405


def test_a_program_asks_how_a_run_stands(machine: Client, planned: Run, word: str, lab: Laboratory) -> None:
    said = machine.get(reverse("program-run", args=[planned.number]), **bearer(word)).json()
    assert (said["state"], said["lines not read"]) == ("planned", ["Cu 324.754", "Pb 220.353"])
    assert said["positions"][0] | {"rack": None, "cup": None} == {
        "position": 1, "rack": None, "cup": None, "label": "STD 0", "role": "calibration blank", "dilution": 1.0,
    }  # fmt: skip
    an_imported_file(lab, planned)
    said = machine.get(reverse("program-run", args=[planned.number]), **bearer(word)).json()
    assert (said["state"], said["lines not read"], said["files"][0]["name"]) == ("read", [], f"{planned}.csv")


def test_a_word_is_shown_once_and_ended_on_its_page(lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("analyst")
    page = browser.post(reverse("access"), {"name": "P1, night", "expires_on": "2026-12-31"}).content.decode()
    shown = page.partition('readonly value="')[2].partition('"')[0]
    assert shown.startswith("labresults-")
    again = browser.get(reverse("access"))
    assert shown not in again.content.decode()
    assert "no-store" in again["Cache-Control"]
    assert "P1, night" in again.content.decode()

    token = AccessToken.objects.get()
    other = as_role("reviewer")
    assert other.post(reverse("end-access", args=[token.pk]), {"reason": "x"}).status_code == 404
    said = browser.post(reverse("end-access", args=[token.pk]), {"reason": "sold"}, follow=True).content.decode()
    assert "opens nothing any more" in said
    assert "ended by Analyst Person" in said


def test_a_word_is_not_ended_without_a_reason(lab: Laboratory, as_role: AsRole, word: str) -> None:
    browser = as_role("analyst")
    key = AccessToken.objects.get().pk
    assert "Why" in browser.post(reverse("end-access", args=[key]), {"reason": ""}, follow=True).content.decode()
    assert not hasattr(AccessToken.objects.get(), "end")
