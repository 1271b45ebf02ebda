"""What evidence costs when a large certificate is issued, and what verifying and tracing it forward costs.

    .venv/bin/python -m pytest tests/benchmarks/evidence.py -s

About 960 samples at 25 elements: 24,000 printed numbers, as many as 2,000 samples at 12, with 40,000 readings. Each
time is given as processor time and as a ratio to composing the document itself. Not part of the suite.
"""

import os
from collections.abc import Callable
from time import process_time
from typing import Any

from labresults.actions.evaluation import evaluate_run
from labresults.actions.methods import save_layout
from labresults.models import Run, Submission
from labresults.queries.forward import Doubt
from labresults.queries.forward_pages import touched
from labresults.terms import DoubtKind
from reports.actions.certificates import issue_certificate
from reports.management.commands.recompute import differences, printed_differences
from reports.queries.evidence import as_rows, gathered, own_rows
from reports.queries.integrity import chain_problems
from reports.queries.previews import preview
from tests.benchmarks.night import a_night
from tests.benchmarks.run import LONG, long_file, take
from tests.builders import Laboratory, approved

POSITIONS = int(os.environ.get("RUN_POSITIONS", "1100"))


def test_what_evidence_costs(lab: Laboratory) -> None:
    a_night(lab, POSITIONS)
    run, submission = Run.objects.get(), Submission.objects.get()
    layout = save_layout(by=lab.people["quality manager"], at=lab.later(), specification=LONG)
    take(lab, run, long_file(run), layout)
    evaluation = evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    approved(lab, submission)
    asked = {"submission": submission, "rule_set": lab.rule_set, "by": lab.people["issuer"], "at": lab.later()}
    floor, (document, found) = timed(lambda: preview(**asked, preliminary=True))
    print(f"\n{len(document.rows)} samples, {sum(len(row.cells) for row in document.rows)} numbers")
    spent = {}
    spent["digests before the lock"], digested = timed(lambda: gathered(found, asked["by"].pk, [lab.rule_set.pk]))
    spent["issuing, whole"], certificate = timed(lambda: issue_certificate(**asked, preliminary=True))
    spent["digests of its own rows"], own = timed(lambda: own_rows(certificate))
    spent["packing"], rows = timed(lambda: as_rows(certificate, [*digested, *own]))
    spent["verifying its chain"], wrong = timed(lambda: list(chain_problems(certificate)))
    spent["computing the run again"], differs = timed(lambda: list(differences(evaluation)))
    spent["composing it again"], printed = timed(lambda: list(printed_differences(certificate)))
    spent["forward from a standard"], page = timed(lambda: touched(Doubt(DoubtKind.LOT, "N-STD-1")))
    assert (wrong, differs, printed) == ([], [], [])
    count, size = sum(row.rows for row in rows), sum(len(row.digests) for row in rows) / 1e6
    print(f"composing: {floor:.2f} s; evidence of {count} rows is {size:.2f} MB; {page.results} results touched")
    for what, seconds in spent.items():
        print(f"{what:28s} {seconds:6.2f} s  {seconds / floor:5.2f} of composing")


def timed(do: Callable[[], Any]) -> tuple[float, Any]:
    began = process_time()
    value = do()
    return process_time() - began, value
