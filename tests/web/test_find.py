"""The box at the top: a number leads straight to its page, any part of a number or name to a list, best first."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from labresults.actions.corrections import correct_identification, strike_sample
from labresults.actions.materials import register_lot, register_material
from labresults.models import PreparationBatch, Run
from labresults.models import TestPortion as Portion
from labresults.queries.find import MOST, Match, like, match
from labresults.terms import MaterialKind
from tests.builders import NOW, Laboratory, a_certificate, a_submission, an_evaluated_run, approved

AsRole = Callable[[str], Client]


@pytest.fixture
def found(lab: Laboratory) -> dict[str, tuple[str, str]]:
    """What is asked, and the address that it leads to, by kind."""
    submission = a_submission(lab, 1, names=["NRD014 / 112"])
    an_evaluated_run(lab, submission)
    approved(lab, submission)
    certificate = a_certificate(lab, submission, draw=False)
    sample, batch = submission.samples.get(), PreparationBatch.objects.get()
    tube = Portion.objects.get(role="laboratory duplicate")
    issue = (certificate.number, certificate.issue)
    return {
        "sample": (sample.number, reverse("sample", args=[sample.number])),
        "small letters": (sample.number.lower(), reverse("sample", args=[sample.number])),
        "spaces around": (f" {submission.number} ", reverse("submission", args=[submission.number])),
        "batch": (batch.number, reverse("batch", args=[batch.number])),
        "tube": (tube.label, reverse("batch", args=[batch.number]) + f"#tube-{tube.tube}"),
        "run": (Run.objects.get().number, reverse("run", args=[Run.objects.get().number])),
        "lot": ("L-2200", reverse("lot", args=["L-2200"])),
        "method": ("AR-7", reverse("method", args=["AR-7"])),
        "equipment": ("B2", reverse("equipment-item", args=["B2"])),
        "client": ("ridge", reverse("submissions") + f"?client={lab.client.pk}"),
        "person": ("reviewer", reverse("people") + "?q=reviewer"),
        "certificate": (certificate.number, reverse("certificate", args=issue)),
        "check code": (certificate.check_code, reverse("certificate", args=issue)),
    }


def titles(answer: object) -> list[str]:
    return [title for title, _, _ in answer.context["kinds"]]  # type: ignore[attr-defined]


def listed(answer: object) -> list[str]:
    return [thing.number for _, things, _ in answer.context["kinds"] for thing, _ in things]  # type: ignore[attr-defined]


def test_a_number_leads_to_its_page(found: dict[str, tuple[str, str]], as_role: AsRole) -> None:
    browser = as_role("analyst")
    answers = {kind: browser.get(reverse("find"), {"q": asked}) for kind, (asked, _) in found.items()}
    assert {kind: answer.headers.get("Location") for kind, answer in answers.items()} == {
        kind: address for kind, (_, address) in found.items()
    }


def test_a_clients_own_words_lead_to_a_list(found: dict[str, tuple[str, str]], as_role: AsRole) -> None:
    answer = as_role("analyst").get(reverse("find"), {"q": "NRD014 / 1"})
    assert listed(answer) == [found["sample"][0]]


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        ("D014 / 11", ["Samples"]),  # the middle of a client's own identification
        ("f26-0000", ["Samples"]),  # of a laboratory number
        ("der 26-1", ["Submissions"]),  # of a reference
        ("fold Ridge", ["Clients"]),  # of a client's name
        ("26-000", ["Samples", "Submissions", "Certificates", "Batches and tubes", "Runs"]),
        ("GC-17, inv", ["Lots"]),  # a lot by its material
        ("-22", ["Lots"]),
        ("qua reg", ["Methods"]),
        ("pectrom", ["Balances and instruments"]),
        ("yst Pers", ["People"]),
    ],
)
def test_any_part_finds(asked: str, expected: list[str], found: dict[str, tuple[str, str]], as_role: AsRole) -> None:
    assert titles(as_role("analyst").get(reverse("find"), {"q": asked})) == expected


def test_part_of_a_check_code_finds_its_certificate(found: dict[str, tuple[str, str]], as_role: AsRole) -> None:
    code, address = found["check code"]
    assert address in as_role("analyst").get(reverse("find"), {"q": code[1:7]}).content.decode()


def test_nothing_found_says_so(lab: Laboratory, as_role: AsRole) -> None:
    answer = as_role("analyst").get(reverse("find"), {"q": "<b>nowhere</b>"})
    assert "Nothing holds “&lt;b&gt;nowhere&lt;/b&gt;”." in answer.content.decode()


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ("N", "One letter finds numbers that begin with it. Type a third to find any part."),
        ("NR", "Two letters find numbers and words that begin with them. Type a third to find any part."),
    ],
)
def test_short_asks_say_what_they_find(asked: str, words: str, lab: Laboratory, as_role: AsRole) -> None:
    assert words in " ".join(as_role("analyst").get(reverse("find"), {"q": asked}).content.decode().split())


MATCHES = [
    # asked, numbers, names, how well
    ("KF26-00041", ["KF26-00041"], ["core 1"], Match.NUMBER),
    ("kf26-00041", ["KF26-00041"], ["core 1"], Match.NUMBER),
    ("7h2k", ["C26-0001", "7H2K"], [], Match.NUMBER),  # a certificate has two numbers
    ("Étang 3", ["KF26-00041"], ["ETANG 3"], Match.NAME),
    ("KF26", ["KF26-00041"], ["KF26"], Match.NAME),
    ("KF26", ["KF26-00041"], ["core 1"], Match.NUMBER_BEGINS),
    ("112", ["KF26-00041"], ["NRD014 112.0 m"], Match.WORD_BEGINS),
    ("112", ["KF26-00041"], ["NRD014/112"], Match.WORD_BEGINS),
    ("000", ["KF26-00041"], [], Match.WORD_BEGINS),  # after the hyphen
    ("12", ["KF26-00041"], ["NRD014 112.0 m"], Match.HOLDS),
    ("%", ["KF26-00041"], ["NRD014 112.0 m"], Match.NOT),
]


@pytest.mark.parametrize(("asked", "numbers", "names", "how"), MATCHES)
def test_how_well_a_thing_answers(asked: str, numbers: list[str], names: list[str], how: Match) -> None:
    assert match(asked, numbers, names) is how


def test_the_best_come_first_and_the_newest_within(lab: Laboratory) -> None:
    names = ["x112 a", "b 112 c", "112", "d112", "e/112"]
    held, begun, whole, held_later, begun_later = a_submission(lab, 5, names=names).samples.order_by("ordinal")
    found = [thing.number for thing in like("112") if thing.kind == "sample"]
    assert found == [row.number for row in (whole, begun_later, begun, held_later, held)]


def test_a_better_one_is_found_behind_many_newer_ones(lab: Laboratory) -> None:
    best = a_submission(lab, 2, names=["core", "a core"]).samples.order_by("ordinal")
    a_submission(lab, MOST + 5, names=[f"score {n}" for n in range(MOST + 5)])
    assert [thing.number for thing in like("core")][:2] == [row.number for row in best]


def test_a_whole_name_is_found_behind_many_numbers_that_begin_with_it(lab: Laboratory) -> None:
    best = a_submission(lab, 1, names=["KF26-0"]).samples.get()
    a_submission(lab, MOST + 5)
    assert like("KF26-0")[0].number == best.number


def test_a_corrected_sample_is_found_under_both_names(lab: Laboratory, as_role: AsRole) -> None:
    sample = a_submission(lab, 1, names=["claim 77"]).samples.get()
    correct_identification(
        by=lab.people["reception"], at=lab.later(), reason="Read from the bag again.", sample=sample, to="clam 77"
    )
    browser = as_role("analyst")
    for asked in ("claim 77", "clam 77"):
        assert listed(browser.get(reverse("find"), {"q": asked})) == [sample.number], asked
    assert "was called claim 77, now clam 77" in browser.get(reverse("find"), {"q": "claim"}).content.decode()


def test_a_struck_sample_is_found_and_says_so(lab: Laboratory, as_role: AsRole) -> None:
    sample = a_submission(lab, 2, names=["bin 1", "bin 2"]).samples.earliest("ordinal")
    strike_sample(by=lab.people["reception"], at=lab.later(), reason="The bag was empty.", sample=sample)
    assert "bin 1, S26-0001, struck" in as_role("analyst").get(reverse("find"), {"q": "bin 1"}).content.decode()


def test_one_number_for_two_things_is_a_list(lab: Laboratory, as_role: AsRole) -> None:
    quality = lab.people["quality manager"]
    material = register_material(by=quality, at=NOW, code="acid", name="An acid", kind=MaterialKind.REAGENT)
    day = NOW.date()
    register_lot(by=quality, at=NOW, number="B2", material=material, received_on=day, expires_on=day, contents=[])
    answer = as_role("analyst").get(reverse("find"), {"q": "b2"})
    assert titles(answer) == ["Lots", "Balances and instruments"]


def test_what_is_found_is_shown_while_somebody_types(lab: Laboratory, as_role: AsRole) -> None:
    sample = a_submission(lab, 9).samples.earliest("ordinal")
    browser = as_role("analyst")
    words = browser.get(reverse("find-as-typed"), {"q": "nrd014"}).content.decode()
    assert words.count("<li>") == 8
    assert "<html" not in words
    assert (
        reverse("sample", args=[sample.number])
        in browser.get(reverse("find-as-typed"), {"q": "112.0"}).content.decode()
    )
    assert "<li>" not in browser.get(reverse("find-as-typed"), {"q": "n"}).content.decode()


def test_a_clients_people_find_nothing(lab: Laboratory, as_role: AsRole) -> None:
    browser = as_role("client")
    assert {
        browser.get(reverse(page), {"q": "KF", "code": "KF"}).status_code for page in ("find", "find-as-typed")
    } == {403}


def test_finding_asks_the_database_seldom(
    found: dict[str, tuple[str, str]], as_role: AsRole, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    browser = as_role("analyst")
    with django_assert_max_num_queries(30):
        assert browser.get(reverse("find"), {"q": "e"}).status_code == 200
    with django_assert_max_num_queries(30):
        assert len(titles(browser.get(reverse("find"), {"q": "26-000"}))) == 5
