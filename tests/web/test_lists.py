"""Lists are searched, narrowed, sorted and paged; no page asks the database often."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from labresults.actions.samples import register_client
from tests.builders import NOW, Laboratory, a_submission, a_weighed_batch
from tests.web.pages import a_busy_laboratory, addresses

AsRole = Callable[[str], Client]


def first_column(answer: object) -> list[str]:
    return [str(row.record) for row in answer.context["table"].paginated_rows]  # type: ignore[attr-defined]


@pytest.fixture
def two_clients(lab: Laboratory) -> dict[str, str]:
    """Numbers of two submissions, by client; the first is at Runs, the second at Preparation."""
    ridge = a_submission(lab, 3, names=["core 1", "core 2", "100 % / final"])
    a_weighed_batch(lab, ridge)
    other = register_client(by=lab.people["reception"], at=NOW, code="hollow", name="Tern Hollow Grain Co-operative")
    return {"ridge": ridge.number, "hollow": a_submission(lab, 2, names=["bin 1", "bin 2"], client=other).number}


@pytest.mark.parametrize(
    ("query", "shown"),
    [
        ("", ["hollow", "ridge"]),
        ("?sort=received_at", ["ridge", "hollow"]),
        ("?sort=client", ["ridge", "hollow"]),
        ("?sort=-client", ["hollow", "ridge"]),
        ("?sort=sample_count", ["hollow", "ridge"]),
        ("?station=runs", ["ridge"]),
        ("?station=review", []),
        ("?q=0002", ["hollow"]),
        ("?q=order%2026", ["hollow", "ridge"]),
        ("?since=2026-11-17", []),
    ],
)
def test_submissions(query: str, shown: list[str], two_clients: dict[str, str], as_role: AsRole) -> None:
    answer = as_role("analyst").get(reverse("submissions") + query)
    assert first_column(answer) == [two_clients[name] for name in shown]


@pytest.mark.parametrize(
    ("query", "shown"),
    [
        ("?q=core", ["core 2", "core 1"]),
        ("?q=100%20%25", ["100 % / final"]),
        ("?q=nothing%20like%20it", []),
        ("?sort=client_identification", ["100 % / final", "bin 1", "bin 2", "core 1", "core 2"]),
    ],
)
def test_samples(query: str, shown: list[str], two_clients: dict[str, str], as_role: AsRole) -> None:
    answer = as_role("analyst").get(reverse("samples") + query)
    assert [row.record.client_identification for row in answer.context["table"].paginated_rows] == shown


def test_pages_follow_each_other_and_keep_the_search(lab: Laboratory, as_role: AsRole) -> None:
    a_submission(lab, 60)
    browser = as_role("analyst")
    first = browser.get(reverse("samples") + "?q=NRD014&sort=number")
    second = browser.get(reverse("samples") + "?q=NRD014&sort=number&page=2")
    assert [len(first_column(answer)) for answer in (first, second)] == [50, 10]
    assert set(first_column(first)).isdisjoint(first_column(second))
    assert "q=NRD014" in first.content.decode().partition('rel="next"')[2].partition(">")[0]


def test_audit_events_are_narrowed_by_who_and_what(lab: Laboratory, as_role: AsRole) -> None:
    number = a_submission(lab, 1).number
    reception = lab.people["reception"].pk
    browser = as_role("auditor")
    for query in (f"?subject={number}", "?act=receive_samples", f"?person={reception}&act=receive_samples"):
        rows = browser.get(reverse("audit") + query).context["table"].paginated_rows
        assert [row.record.subject for row in rows] == [number], query


def test_the_audit_page_says_whether_the_chain_holds(lab: Laboratory, as_role: AsRole) -> None:
    words = as_role("auditor").get(reverse("audit")).content.decode()
    assert "The chain holds" in words


# With nothing kept yet: session, person with roles, and laboratory with its zone are three of them, the ribbon two.
MOST_QUERIES = {
    "today": 25, "find": 8, "submissions": 11, "submission": 26, "samples": 11, "sample": 26, "reception": 18,
    "reception-asked": 14, "reception-logged": 7, "find-as-typed": 4,
    "sample-sets": 26, "derived-of-sample": 22, "derived-trace": 17, "derived-results": 10, "derived-result": 10,
    "add-sample": 15, "correct-sample": 13, "custody": 12,
    "preparation": 13, "begin-batch": 14, "batch": 18, "override": 14,
    "methods": 9, "method": 15, "lots": 9, "lot": 18, "mass-losses": 15, "fire": 15,
    "equipment": 9, "equipment-item": 12, "clients": 9, "people": 11, "new-password": 10, "calendar": 12,
    "forward": 6, "nonconforming": 9, "audit": 12, "audit-event": 9,
    "review": 30, "reviews": 14, "runs": 14, "plan-run": 15, "repeats": 13, "certificates": 14,
    "client": 12, "verify": 9, "certificate": 15, "certificate-progress": 6,
    "amend-certificate": 11, "amendment-changes": 30,
    "amend-certificates": 8,
    "limit-sets": 9, "scope": 10, "sampling": 12, "opinion": 12, "rule-sets": 12, "rule-set": 9, "printing": 19,
    "holding-times": 10, "plausibility": 12, "exceptions": 16, "second-factor": 10, "password": 8, "change-request": 20,
    "labels": 16, "batch-labels": 16,
    "import-readings": 16, "layouts": 9, "new-layout": 9, "layout": 10, "access": 11,
    "method-limits": 14, "method-interferences": 14, "method-precision": 14,
}  # fmt: skip


@pytest.mark.parametrize("page", sorted(MOST_QUERIES))
def test_a_page_asks_the_database_seldom_whatever_it_shows(
    page: str, lab: Laboratory, as_role: AsRole, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    a_busy_laboratory(lab)
    a_submission(lab, 40)
    browser = as_role("analyst")
    address = addresses()[page]
    with django_assert_max_num_queries(MOST_QUERIES[page]):
        assert browser.get(address).status_code == 200


def test_a_clients_page_asks_as_seldom_with_many_submissions(
    lab: Laboratory, as_role: AsRole, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    a_busy_laboratory(lab)
    for number in range(5):
        a_submission(lab, 1, names=[f"more {number}"])
    browser = as_role("client")
    with django_assert_max_num_queries(12):
        page = browser.get(reverse("my-submissions")).content.decode()
    assert page.count('class="sub-h"') == 8, "all that waits, or is being made"


def test_every_page_has_a_bound(lab: Laboratory) -> None:
    a_busy_laboratory(lab)
    assert set(addresses()) == set(MOST_QUERIES)
