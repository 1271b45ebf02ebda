"""What composing, previewing and reviewing a large submission cost, beside a bare read of the same rows.

    .venv/bin/python -m pytest tests/benchmarks/composing.py -s
    RUN_POSITIONS=2272 .venv/bin/python -m pytest tests/benchmarks/composing.py -s

About 960 samples (2,000) at 25 elements from one run, evaluated and approved, but for what an open failure of a control
sample touches. The floor reads those results as tuples and writes value, limits and uncertainty with three figures.
Processor time; peak memory of the process. Not part of the suite.

Found on two cores of a small virtual machine, SQLite, 2,000 samples and 45,400 numbers: what may be reported 2.6 s,
facts 0.9 s, composing 3.5 s, together 0.15 ms a number (17 s before: a row of each table for each result); canonical
text 0.3 s; 0.3 GB. The page of the review takes 6 s and half a megabyte (14 s and 7 MB), issuing 14 s. Before results
shared their evaluation, each of them held a copy of its proposed repeats: 40 GB at this size.
"""

import os
import resource
from collections.abc import Callable
from time import process_time
from typing import Any

from django.test import Client
from django.urls import reverse

from labresults.actions.evaluation import evaluate_run
from labresults.actions.methods import save_layout
from labresults.actions.review import approve_results
from labresults.models import Result, Run, Submission
from labresults.queries.reportable import reportable
from labresults.queries.results import waiting_for_review
from labresults.queries.review_pages import review_page
from reports.compose import compose
from reports.queries.facts import collect
from reports.queries.previews import preview
from reports.rules.ruleset import RuleSet
from tests.benchmarks.night import a_night
from tests.benchmarks.run import LONG, long_file, take
from tests.builders import PASSWORD, Laboratory

POSITIONS = int(os.environ.get("RUN_POSITIONS", "1100"))
NUMBERS = ("value", "detection_limit", "quantification_limit", "expanded_u")


def test_composing_beside_a_bare_read(lab: Laboratory) -> None:
    a_night(lab, POSITIONS)
    run, submission = Run.objects.get(), Submission.objects.get()
    take(lab, run, long_file(run), save_layout(by=lab.people["quality manager"], at=lab.later(), specification=LONG))
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    browser = Client()
    browser.force_login(lab.people["reviewer"])
    spent: dict[str, float] = {}
    spent["page of the review"], answer = timed(lambda: browser.get(reverse("review", args=[submission.number])))
    spent["approving"], _ = timed(lambda: _approve(lab, submission))
    asked = {"submission": submission, "rule_set": lab.rule_set, "by": lab.people["issuer"], "at": lab.later()}
    floor, count = timed(lambda: _bare(submission))
    spent["what may be reported"], found = timed(lambda: reportable(submission))
    named = {"number": "?", "issue": 1, "issuer": "?", "at": lab.later(), "chain_head": "?", "check_code": "?"}
    spent["facts"], facts = timed(lambda: collect(found, preliminary=True, **named))  # type: ignore[arg-type]
    rules = RuleSet.from_json(lab.rule_set.specification)
    spent["composing"], document = timed(lambda: compose(facts, rules))
    spent["canonical text"], _ = timed(document.to_json)
    spent["preview, whole"], _ = timed(lambda: preview(**asked, preliminary=True))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
    print(f"\n{len(document.rows)} samples, {count} numbers; the floor takes {floor:.2f} s; peak {peak:.0f} MB")
    for what, seconds in spent.items():
        print(f"{what:22s} {seconds:6.2f} s  {1000 * seconds / count:5.3f} ms a number  {seconds / floor:5.1f} of it")
    assert answer.status_code == 200


def _approve(lab: Laboratory, submission: Submission) -> None:
    """All but what an open failure touches, each result that asks by itself."""
    failures = review_page(submission.number).facts.failures
    fit = [key for key in waiting_for_review(submission) if not failures[key]["open"]]
    approve_results(by=lab.people["reviewer"], at=lab.later(), results=fit, looked_at=fit, password=PASSWORD)


def _bare(submission: Submission) -> int:
    rows = Result.objects.filter(sample__submission=submission, reviews__isnull=False).values_list(*NUMBERS)
    return len([[f"{number:.3g}" for number in row if number is not None] for row in rows])


def timed(do: Callable[[], Any]) -> tuple[float, Any]:
    """Processor time, s, and what came of it."""
    began = process_time()
    value = do()
    return process_time() - began, value
