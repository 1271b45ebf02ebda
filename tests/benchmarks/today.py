"""Time of Today with 2,000 open samples asked for three methods each, beside an ordinary page of the same site.

    .venv/bin/python -m pytest tests/benchmarks/today.py -s

The floor is the list of methods: the same frame, sign-in and ribbon. "Nothing kept": every cache is empty, as after an
act on another day; "kept": nothing was done since. The best of five counts. Not part of the suite.
"""

from collections.abc import Callable
from datetime import timedelta
from time import perf_counter

import pytest
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.urls import reverse

from labresults.actions.delivery import receive_samples
from labresults.readers.delivery import DeliveredSample
from tests.builders import NOW, Laboratory, a_certificate, a_method, a_submission, an_evaluated_run, approved

SUBMISSIONS, SAMPLES = 40, 50


def a_full_path(lab: Laboratory) -> None:
    """Something finished, so that there is a pace, and 2,000 samples that wait."""
    done = a_submission(lab, 20)
    an_evaluated_run(lab, done)
    a_certificate(lab, approved(lab, done), draw=False)
    quality = lab.people["quality manager"]
    methods = [lab.method, *(a_method(quality, code).method for code in ("AR-8", "AR-9"))]
    for number in range(SUBMISSIONS):
        names = [f"N{number}-{ordinal}" for ordinal in range(SAMPLES)]
        receive_samples(
            by=lab.people["reception"], at=lab.later(), client=lab.client, methods=methods,
            rows=[DeliveredSample(row, name, "soil", "30") for row, name in enumerate(names, start=1)],
        )  # fmt: skip


def test_today_beside_an_ordinary_page(lab: Laboratory, monkeypatch: pytest.MonkeyPatch) -> None:
    a_full_path(lab)
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW + timedelta(days=4))
    browser = Client()
    browser.force_login(lab.people["laboratory manager"])
    floor = _best(browser, "methods", cache.clear)
    cold, warm = _best(browser, "today", cache.clear), _best(browser, "today", lambda: None)
    print(f"\n{connection.vendor}: Today with {SUBMISSIONS * SAMPLES} open samples, three methods each:")
    print(f"  nothing kept {cold:.0f} ms, kept {warm:.0f} ms; the list of methods, nothing kept, {floor:.0f} ms")


def _best(browser: Client, page: str, before: Callable[[], None]) -> float:
    times = []
    for _ in range(5):
        before()
        begun = perf_counter()
        assert browser.get(reverse(page)).status_code == 200
        times.append((perf_counter() - begun) * 1000)
    return min(times)
