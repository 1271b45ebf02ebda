"""The page of an unattended night: how long it takes, how large it is, how often it asks the database.

    .venv/bin/python -m pytest tests/benchmarks/run_page.py -s
    RUN_POSITIONS=300 .venv/bin/python -m pytest tests/benchmarks/run_page.py -s

About 1,000 positions at 40 lines; three neighbouring checks read high at half of the lines, so that a great part of the
night stands on a failure. Processor time of the second request: nothing is imported in it. Not part of the suite.
"""

import os
from itertools import chain
from time import process_time

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from labresults.actions.evaluation import evaluate_run
from labresults.actions.methods import save_layout
from labresults.actions.readings import import_readings
from labresults.models import Run
from tests.benchmarks.night import LINES, a_night
from tests.benchmarks.run import LONG, long_file
from tests.builders import Laboratory

POSITIONS = int(os.environ.get("RUN_POSITIONS", "1000"))


def test_the_page_of_a_night(lab: Laboratory) -> None:
    run = a_night(lab, POSITIONS).runs.get()
    layout = save_layout(by=lab.people["quality manager"], at=lab.later(), specification=LONG)
    import_readings(
        by=lab.people["analyst"], at=lab.later(), run=run, content=spoiled(run), filename="night.csv", layout=layout
    )
    evaluation = evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    evaluate_run(
        by=lab.people["analyst"], at=lab.later(), run=run, reason="spilled", left_out=[(2, LINES[0]), (3, LINES[1])]
    )
    browser = Client()
    browser.force_login(lab.people["analyst"])
    result = evaluation.results.filter(is_candidate=True).first().pk
    addresses = {
        "run": reverse("run", args=[run.number]),
        "part in the middle": reverse("run", args=[run.number]) + f"?at={POSITIONS // 2}&line=Cu+313.100",
        "compared": reverse("compare-evaluations", args=[run.number]),
        "repeats": reverse("repeats"),
        "trace": reverse("trace", args=[result]),
        "report": reverse("run-report", args=[run.number]),
    }
    print(f"\n{run.positions.count()} positions, {len(LINES)} lines")
    for name, address in addresses.items():
        browser.get(address)
        with CaptureQueriesContext(connection) as asked:
            begun = process_time()
            answer = browser.get(address)
            seconds = process_time() - begun
        picture = answer.content.partition(b'<svg class="readings"')[2].partition(b"</svg>")[0]
        print(
            f"{name}: {seconds:.2f} s, {len(answer.content) / 1e6:.2f} MB, picture {len(picture) / 1e3:.0f} kB, "
            f"{len(asked)} queries, {answer.content.count(b'<a ')} links"
        )
        assert answer.status_code == 200


def spoiled(run: Run) -> bytes:
    """The night's file with checks that read a third too high at half of the lines."""
    checks = run.positions.filter(role="continuing calibration verification").order_by("number")[20:23]
    labels, lines = {check.label for check in checks}, set(LINES[::2])
    head, *rows = long_file(run).decode().split("\n")
    return "\n".join(chain([head], (_spoil(row, labels, lines) for row in rows))).encode()


def _spoil(row: str, labels: set[str], lines: set[str]) -> str:
    number, label, line, *texts = row.split(",")
    if label not in labels or line not in lines:
        return row
    return ",".join([number, label, line, *(f"{1.33 * float(text):.2f}" for text in texts)])
