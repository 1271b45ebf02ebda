"""The way back of a number: how often it asks, how long it takes, and what that is in reads by primary key.

    .venv/bin/python -m pytest tests/benchmarks/trace.py -s
    TRACE_TIMES=3 .venv/bin/python -m pytest tests/benchmarks/trace.py -s

Beside the page and its files for one printed number: the same again when the database holds many times as much, and a
read of the result by its key, measured in the same run. Not part of the suite.
"""

import os
from time import process_time

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from labresults.models import AuditEvent, Result
from tests.builders import Laboratory, a_certificate, a_submission, an_evaluated_run, approved

TIMES = int(os.environ.get("TRACE_TIMES", "10"))
SAMPLES = 10
REPEATED = 5


def test_the_way_back(lab: Laboratory) -> None:
    result = _issued(lab)
    browser = Client()
    browser.force_login(lab.people["auditor"])
    small = _measured(browser, result)
    for _ in range(TIMES):
        _issued(lab)
    print()
    for name, (queries, seconds, floor) in small.items():
        many, later, later_floor = _measured(browser, result)[name]
        print(
            f"{name}: {queries} queries, {1e3 * seconds:.0f} ms, {seconds / floor:.0f} reads by key; with {TIMES + 1} "
            f"times as much {many} queries, {1e3 * later:.0f} ms, {later / later_floor:.0f} reads by key"
        )
        assert many == queries
    print(f"{Result.objects.count()} results, {AuditEvent.objects.count()} events")


def _issued(lab: Laboratory) -> Result:
    submission = a_submission(lab, SAMPLES)
    evaluation = an_evaluated_run(lab, submission)
    approved(lab, submission)
    a_certificate(lab, submission, draw=False)
    return evaluation.results.filter(is_candidate=True).earliest("pk")


def _measured(browser: Client, result: Result) -> dict[str, tuple[int, float, float]]:
    """Queries, processor time of one answer, and that of a read by primary key, each in seconds; by what was asked."""
    browser.get(reverse("today"))
    addresses = {"page": reverse("trace", args=[result.pk])}
    addresses |= {kind: reverse("trace-file", args=[result.pk, kind]) for kind in ("json", "prov.json", "pdf")}
    floor = _time_of(lambda: Result.objects.get(pk=result.pk), 200)
    found = {}
    for name, address in addresses.items():
        browser.get(address)  # nothing is imported in what is measured
        with CaptureQueriesContext(connection) as asked:
            assert browser.get(address).status_code == 200
        found[name] = (len(asked), _time_of(lambda: browser.get(address), REPEATED), floor)  # noqa: B023
    return found


def _time_of(do, times: int) -> float:  # type: ignore[no-untyped-def]
    begun = process_time()
    for _ in range(times):
        do()
    return (process_time() - begun) / times
