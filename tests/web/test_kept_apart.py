"""What was kept by name although the method states it otherwise: at the signature, in the evidence, on the trace."""

from collections.abc import Callable
from html import unescape

from django.test import Client
from django.urls import reverse

from labresults.actions.evaluation import evaluate_run
from labresults.actions.weighings import Weighed, record_weighings
from labresults.models import Result
from tests.builders import Laboratory, a_run, a_submission, a_weighed_batch, an_imported_file

AsRole = Callable[[str], Client]


def shown(browser: Client, page: str, *args: object, **query: object) -> str:
    return unescape(browser.get(reverse(page, args=args), query).content.decode()).replace("\N{NO-BREAK SPACE}", " ")


def test_what_was_kept_although_the_method_states_it_otherwise_asks_for_a_look(
    lab: Laboratory, as_role: AsRole
) -> None:
    # given a portion in a flask of another volume, and one that was too light, each with its reason
    submission = a_submission(lab, 3)
    batch = a_weighed_batch(lab, submission)
    record_weighings(
        by=lab.people["preparer"], at=lab.later(), batch=batch, rows=[
            Weighed("KF26-00001", 0.5, 100.0, reason="no flask of 50 mL was clean"),
            Weighed("KF26-00002", 0.3, 50.0, reason="all that was left"),
        ],
    )  # fmt: skip
    run = a_run(lab, batch)
    an_imported_file(lab, run)
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    # then each is said before the signature, in the evidence and on the way back
    volume = "100 mL is not the 50 mL that the method makes up to. Kept by Preparer Person: no flask of 50 mL was clean"
    mass = "0.3 g lies outside 0.45 to 0.55 g. Kept by Preparer Person: all that was left"
    page = shown(as_role("reviewer"), "review", submission.number)
    assert f'<span class="why">{volume}</span>' in page
    assert f'<span class="why">{mass}</span>' in page
    assert "4 results ask for a look" in page
    first, last = Result.objects.filter(sample__ordinal__in=[1, 3], element="Cu", is_candidate=True).order_by("pk")
    evidence = shown(as_role("reviewer"), "review", submission.number, cell=first.pk, alone=1)
    assert f"<p>{volume}</p>" in evidence
    assert volume in shown(as_role("auditor"), "trace", first.pk)
    assert "Kept by" not in shown(as_role("auditor"), "trace", last.pk)
