"""Every item that ISO/IEC 17025:2017, 7.8.2, 7.8.3 and 7.8.5 to 7.8.8 ask for stands on the printed certificate.

The letters and what they ask for: ISO/IEC 17025:2017, 7.8.2.1 a to p and the clauses beside it, in our words.
"""

from dataclasses import replace
from datetime import UTC, date, datetime
from io import BytesIO
from typing import Any

import pytest
from pypdf import PdfReader

from labresults.actions.delivery import receive_samples
from labresults.actions.evaluation import evaluate_run
from labresults.actions.limits import register_limits
from labresults.actions.opinions import state_opinion
from labresults.actions.people import authorise_person
from labresults.actions.runs import plan_run
from labresults.actions.sampling import record_sampling
from labresults.acts import WrongState
from labresults.models import Sample, Submission
from labresults.readers.delivery import DeliveredSample
from labresults.terms import DecisionRule, Task
from reports.actions.certificates import amend_certificate, publish_certificate
from reports.mandatory import missing_items
from reports.models import Certificate
from reports.queries.files import content_of
from tests.builders import (
    Laboratory,
    a_certificate,
    a_method,
    a_reading_file,
    a_submission,
    an_evaluated_run,
    an_imported_file,
    approved,
)
from tests.render.documents import certificate as a_document

ITEMS = [
    ("a, title", "Certificate of analysis"),
    ("b, laboratory", "Kestrel Flat Laboratory"),
    ("b, address", "Gravel Road"),
    ("c, place of the work", "Place of work"),
    ("d, identification", "C26-0001"),
    ("d, end", "End of certificate C26-0001, issue 1"),
    ("e, client", "Ninefold Ridge prospect"),
    ("e, contact", "Camp Office"),
    ("f, method", "AR-8 v1"),
    ("g, description", "3 samples of soil"),
    ("g, identification of the item", "NRD014 112.0 m"),
    ("g, condition", "one bag torn"),
    ("h, received", "16 November 2026"),
    ("h, sampled", "12 November 2026"),
    ("i, measured", "Measured"),
    ("j, issued", "Issued"),
    ("k, sampling", "grid of 50 m, by the client"),
    ("l, items tested", "relate only to the items tested"),
    ("m, unit", "mg/kg"),
    ("m, result", "120"),
    ("n, departures", "Measured again: Cu over range"),
    ("o, who approved", "Reviewer Person"),
    ("o, who issued", "Issuer Person"),
    ("o, when, with its offset from UTC", "UTC+0000"),
    ("p, from outside", "another laboratory"),
    ("7.8.2.2, data of the client", "as given by the client"),
    ("7.8.2.2, disclaimer", "results may not be valid for what was meant"),
    ("7.8.2.2, as received, where the laboratory did not sample", "as they were received"),
    ("7.8.3.1 b, conformity", "Statement of conformity"),
    ("7.8.3.1 c, uncertainty, in the unit of the result", "expanded uncertainty of each value, in its unit"),
    ("7.8.3.1 d, opinion", "Copper of the wall rock"),
    ("7.8.5 a, date of sampling", "12 Nov 2026"),
    ("7.8.5 b, c, place", "bench 4, drawing 4-12"),
    ("7.8.5 d, plan and method", "channel samples every 2 m"),
    ("7.8.5 e, conditions", "after rain"),
    ("7.8.5 f, for its uncertainty", "duplicates every tenth metre"),
    ("7.8.6.2 a, which results", "The statement of a sample is of its results"),
    ("7.8.6.2 b, which parts of the specification", "Pb at most 250 mg/kg (Waste rock, 2026"),
    ("7.8.6.2 c, decision rule", "Decision rule: guarded acceptance for a risk of 5 %"),
    ("7.8.6.2 c, guard band", "w = 1.64 u"),
    ("7.8.6, who decides", "the authority to decide"),
    ("7.8.7.1, by whom", "Reviewer Person"),
    ("7.8.7.2, basis", "the results and the map"),
    ("7.8.7.3, marked as what it is", "Opinion"),
]


def text_of(certificate: Certificate) -> str:
    """The words of every page of its PDF."""
    pages = PdfReader(BytesIO(content_of(certificate.files.get(kind="pdf")))).pages
    assert all(certificate.number in page.extract_text() for page in pages), "d: on every page"
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def a_full_submission(lab: Laboratory) -> Submission:
    """One for which nothing is left out: limits, one sample by the laboratory, an opinion, a repeat, from outside."""
    quality = lab.people["quality manager"]
    lab.client.address = "Camp Office\nNinefold Ridge"
    lab.client.save()
    lab.version = a_method(quality, "AR-8", is_external=True)
    lab.method = lab.version.method
    limits = register_limits(
        by=quality, at=lab.later(), name="Waste rock", edition="2026", source="the client",
        limits=[("Pb", 250.0, "mg/kg")], decision_rule=DecisionRule.BY_RISK, risk_percent=5.0,
    )  # fmt: skip
    rows = [DeliveredSample(number, f"NRD014 {111 + number}.0 m", "soil", "30") for number in (1, 2, 3)]
    submission = receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, rows=rows, methods=[lab.method],
        reference="order 26-118", limit_set=limits,
    )  # fmt: skip
    Submission.objects.update(condition="one bag torn, none lost", sampling="grid of 50 m, by the client")
    Sample.objects.update(sampled_at=datetime(2026, 11, 12, 9, tzinfo=UTC))
    submission.refresh_from_db()
    record_sampling(
        by=lab.people["reception"], at=lab.later(), submission=submission, sample=submission.samples.last(),
        sampled_by="Ruben Marlow", place="bench 4, drawing 4-12", plan="channel samples every 2 m",
        conditions="after rain", uncertainty="duplicates every tenth metre",
    )  # fmt: skip
    authorise_person(
        by=quality, at=lab.later(), person=lab.people["reviewer"], task=Task.OPINE, valid_from=date(2026, 1, 1)
    )
    state_opinion(
        by=lab.people["reviewer"], at=lab.later(), submission=submission, text="Copper of the wall rock.",
        basis="the results and the map",
    )  # fmt: skip
    return submission


def measured_twice(lab: Laboratory, submission: Submission) -> None:
    """Its first sample is over range for copper, and is read again."""
    first = an_evaluated_run(lab, submission, contents={"KF26-00001": {"Cu": 2600.0, "Pb": 35.0}})
    portion = first.run.positions.get(label="KF26-00001").portion
    again = plan_run(
        by=lab.people["analyst"], at=lab.later(), reason="Cu over range", method_version=lab.version,
        portions=[portion], instrument=lab.spectrometer, dilutions={portion.pk: 5.0},
    )  # fmt: skip
    an_imported_file(lab, again, a_reading_file(again, contents={"KF26-00001": {"Cu": 2600.0, "Pb": 35.0}}))
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=again)


def test_every_item_is_printed(lab: Laboratory, subtests: pytest.Subtests) -> None:
    submission = a_full_submission(lab)
    measured_twice(lab, submission)
    words = text_of(a_certificate(lab, approved(lab, submission)))
    for item, text in ITEMS:
        with subtests.test(item):
            assert text in words, item


def test_an_amendment_names_what_it_replaces_and_says_why(lab: Laboratory) -> None:
    # ISO/IEC 17025:2017, 7.8.8.1 (changes and reason), 7.8.8.3 (own identification, and the one that it replaces)
    submission = a_submission(lab)
    an_evaluated_run(lab, submission)
    old = a_certificate(lab, approved(lab, submission))
    issuer = lab.people["issuer"]
    new = amend_certificate(
        by=issuer, at=lab.later(), reason="wrong rules were used", certificate=old, rule_set=lab.rule_set
    )
    publish_certificate(by=issuer, at=lab.later(), certificate=new)
    words = text_of(new)
    assert "C26-0001, issue 1" in words
    assert "issue 2" in words
    assert "wrong rules were used" in words


def test_the_laboratory_took_every_sample(lab: Laboratory) -> None:
    # then no sentence says that it did not (7.8.2.2), and the record of sampling stands instead (7.8.5)
    submission = a_submission(lab)
    Sample.objects.update(sampled_at=datetime(2026, 11, 12, 9, tzinfo=UTC))
    record_sampling(
        by=lab.people["reception"], at=lab.later(), submission=submission, sampled_by="Ruben Marlow", place="bench 4",
        plan="channel samples",
    )  # fmt: skip
    an_evaluated_run(lab, submission)
    words = text_of(a_certificate(lab, approved(lab, submission)))
    assert "channel samples" in words
    assert "did not take the samples" not in words


@pytest.mark.parametrize(
    ("emptied", "says"),
    [
        ({"address": ()}, "b: the laboratory"),
        ({"place_of_work": ""}, "c: the place of the work"),
        ({"client": ""}, "e: the client’s name"),
        ({"client_address": ()}, "e: how the client can be reached"),
        ({"methods": ()}, "f: the method"),
        ({"rows": ()}, "g: what the items are"),
        ({"received": ""}, "h: the day of receipt"),
        ({"measured": ""}, "i: the days of measurement"),
        ({"sampling": ""}, "k: how the samples were taken"),
        ({"statements": ()}, "l: the standing statements"),
        ({"signatures": ()}, "o: who authorises it"),
    ],
    ids=lambda case: next(iter(case), "") if isinstance(case, dict) else "",
)
def test_an_empty_item_is_named(emptied: dict[str, Any], says: str) -> None:
    assert missing_items(a_document()) == ()
    assert any(words.startswith(says) for words in missing_items(replace(a_document(), **emptied)))


def test_a_certificate_is_refused_where_the_client_cannot_be_reached(lab: Laboratory) -> None:
    submission = a_submission(lab)
    an_evaluated_run(lab, submission)
    approved(lab, submission)
    lab.client.contact = ""
    lab.client.save()
    with pytest.raises(WrongState, match="e: how the client can be reached"):
        a_certificate(lab, submission)
