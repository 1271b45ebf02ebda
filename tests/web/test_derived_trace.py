"""From a printed derived number back: its page, its paper, its JSON, its PROV; and how seldom the database is asked."""

import json
from collections.abc import Callable
from io import BytesIO, StringIO
from typing import Any

import pytest
from django.core.cache import cache
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from prov.model import ProvDocument
from pypdf import PdfReader

from labresults.actions.derived import define_sample_set
from labresults.actions.evaluation import evaluate_run
from labresults.actions.mass_losses import Heated, record_mass_losses
from labresults.models import AuditEvent, Submission
from labresults.queries.trace_prov import NAMESPACE
from labresults.terms import DerivedForm, MassLossKind
from reports.models import CertificateLine
from tests.builders import (
    Laboratory,
    a_batch,
    a_certificate,
    a_derived,
    a_grade,
    a_reading_file,
    a_run,
    a_submission,
    an_evaluated_run,
    an_imported_file,
    approved,
)
from tests.web.test_trace_files import words_of

AsRole = Callable[[str], Client]


def certified(lab: Laboratory, submission: Submission, column: str) -> CertificateLine:
    certificate = a_certificate(lab, approved(lab, submission), draw=False)
    return certificate.lines.filter(column=column).earliest("pk")


@pytest.fixture
def total(lab: Laboratory) -> CertificateLine:
    """Cu + Pb of the first sample, by hand 120 + 35 = 155 mg/kg."""
    submission = a_submission(lab, 1, derived=[a_derived(lab)])
    an_evaluated_run(lab, submission)
    return certified(lab, submission, "metals")


def a_set_of(lab: Laboratory, submission: Submission, mass_kg: float = 2.5) -> None:
    define_sample_set(
        by=lab.people["reception"], at=lab.later(), submission=submission, name="upper",
        members=[(sample, mass_kg) for sample in submission.samples.order_by("ordinal")],
    )  # fmt: skip


def file_of(browser: Client, line: CertificateLine, kind: str) -> bytes:
    answer = browser.get(reverse("derived-file", args=[line.pk, kind]))
    assert answer.status_code == 200
    return bytes(answer.content)


def told_of(browser: Client, line: CertificateLine) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(file_of(browser, line, "json"))
    return told


def test_its_page_leads_from_the_string_through_rule_and_formula_to_each_input(
    total: CertificateLine, as_role: AsRole
) -> None:
    browser = as_role("auditor")
    words = words_of(browser.get(reverse("derived-trace", args=[total.pk])))
    in_order = [
        "Why is this one 155 mg/kg?", "Lineage of Cu + Pb in KF26-00001, 155 mg/kg", "From the value to “155”",
        f"As it is carried, not rounded {total.value!r} mg/kg", "Three figures, half to even", "The arithmetic",
        "Cu by AR-7, Cu", "The formula", "Standard uncertainty", "What it was computed from", "How it is defined",
        "A term below its detection limit", "What was done", "define derived metals v1",
    ]  # fmt: skip
    places = [words.find(each) for each in in_order]
    assert -1 not in places, in_order[places.index(-1)]
    assert places == sorted(places)


def test_each_step_leads_to_its_record_and_to_the_event_that_made_it(total: CertificateLine, as_role: AsRole) -> None:
    browser = as_role("auditor")
    steps = browser.get(reverse("derived-trace", args=[total.pk])).context["steps"]
    copper = total.inputs.get(result__element="Cu").result
    for what, address, act in (
        ("Cu by AR-7, Cu", reverse("trace", args=[copper.pk]), "evaluate_run"),
        ("The formula", reverse("derived-result", args=["metals"]), "define_derived"),
    ):
        step = next(each for each in steps if each.what == what)
        assert step.address == address
        assert browser.get(address).status_code == 200
        assert [AuditEvent.objects.get(seq=seq).act for seq in step.record.events] == [act]


def test_the_json_gives_every_number_back_bit_for_bit_with_definition_and_inputs(
    total: CertificateLine, as_role: AsRole
) -> None:
    browser = as_role("auditor")
    told = told_of(browser, total)
    again = told["computed_again"]
    assert (float(again["value"]), float(again["u"]), again["same"]) == (total.value, total.u, True)
    assert float(told["arithmetic"][-1]["value"]) == total.value
    assert (told["format"], told["edition"]) == (1, 2)
    assert told["printed"][0]["printed"] == told["printed"][0]["steps"][-1]["gives"] == "155"
    defined = told["definition"]
    assert [defined[name] for name in ("code", "version", "formula", "source")] == [
        "metals", 1, "Cu + Pb, each in mg/kg", "arithmetic",
    ]  # fmt: skip
    assert [term["element"] for term in defined["terms"]] == ["Cu", "Pb"]
    assert len(told["inputs"]) == total.inputs.count() == 2
    for given in told["inputs"]:
        result = total.inputs.get(result=int(given["record"].removeprefix("result."))).result
        numbers = ("value", "u", "expanded_u", "detection_limit", "quantification_limit")
        assert {name: float(given[name]) for name in numbers} == {name: getattr(result, name) for name in numbers}
        assert (given["unit"], given["printed"]) == ("mg/kg", result.printed.get().printed)
        assert given["times"] == {"a": "1.0", "b": "0.0"}
        onwards = json.loads(browser.get(given["trace"]).content)
        assert onwards["result"] == given["record"]


def test_what_the_json_names_is_in_it_and_in_the_audit_trail(total: CertificateLine, as_role: AsRole) -> None:
    told = told_of(as_role("auditor"), total)
    records = {record["key"]: record for record in told["records"]}
    assert records[told["derived"]]["what"] == "derived number"
    named = {told["derived"], told["definition"]["record"], told["printed"][0]["record"]}
    named |= {step["record"] for step in told["arithmetic"]} | {given["record"] for given in told["inputs"]}
    assert named | {tie[end] for tie in told["ties"] for end in ("of", "to")} <= records.keys()
    events = {event["event"]: event for event in told["audit"]}
    assert {seq for record in told["records"] for seq in record["audit"]} <= events.keys()
    assert all(AuditEvent.objects.get(seq=seq).sha256 == event["sha256"] for seq, event in events.items())
    acts = {event["act"] for event in told["audit"]}
    assert acts >= {"define_derived", "evaluate_run", "approve_results", "issue_certificate", "save_rule_set"}


def test_the_prov_document_says_what_it_was_derived_from_how_and_by_whom(
    total: CertificateLine, as_role: AsRole
) -> None:
    content = file_of(as_role("auditor"), total, "prov.json").decode()
    read = ProvDocument.deserialize(content=content, format="json")
    assert ProvDocument.deserialize(content=read.serialize(format="json"), format="json") == read
    said = json.loads(content)
    number, derivation = f"lab:derived.{total.pk}", f"lab:derivation.{total.pk}"
    derived = {one["prov:usedEntity"] for one in said["wasDerivedFrom"].values()
               if one["prov:generatedEntity"] == number}  # fmt: skip
    assert derived == {f"lab:result.{given.result_id}" for given in total.inputs.all()}
    assert {one["prov:activity"] for one in said["wasGeneratedBy"].values() if one["prov:entity"] == number} == {
        derivation
    }
    (by,) = [one for one in said["wasAssociatedWith"].values() if one["prov:activity"] == derivation]
    assert (by["prov:agent"], by["prov:plan"]) == ("lab:person.issuer", "lab:definition.metals.1")
    used = {one["prov:entity"] for one in said["used"].values() if one["prov:activity"] == derivation}
    assert used >= derived | {"lab:definition.metals.1", "lab:sample.KF26-00001"}
    assert {number, f"lab:line.{total.pk}", "lab:certificate.C26-0001.1"} <= said["entity"].keys()
    assert said["prefix"]["lab"] == NAMESPACE


def test_the_notation_of_prov_says_the_same(total: CertificateLine, as_role: AsRole) -> None:
    told = file_of(as_role("auditor"), total, "provn").decode()
    assert f"wasGeneratedBy(lab:derived.{total.pk}, lab:derivation.{total.pk}, -)" in told
    assert told.rstrip().endswith("endDocument")


def test_the_paper_holds_the_whole_way(total: CertificateLine, as_role: AsRole) -> None:
    paper = file_of(as_role("auditor"), total, "pdf")
    text = "".join("".join(page.extract_text() for page in PdfReader(BytesIO(paper)).pages).split())
    head = AuditEvent.objects.get(act="issue_certificate")
    for expected in (
        "Why is this one 155 mg/kg?", "the same, bit for bit", "Source of the formula arithmetic", "edition 2",
        "What it was computed from", "Cu by AR-7", "R26-0001, position", "derived number", head.sha256,
        "End of the way back of Cu + Pb in KF26-00001",
    ):  # fmt: skip
        assert "".join(expected.split()) in text, expected


def test_a_mean_over_a_set_names_its_samples_and_what_each_stands_for(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, 2, derived=[a_grade(lab)])
    an_evaluated_run(lab, submission)
    a_set_of(lab, submission)
    line = certified(lab, submission, "grade-cu")
    browser = as_role("auditor")
    told = told_of(browser, line)
    assert [(given["mass_kg"], given["times"]["a"]) for given in told["inputs"]] == [("2.5", "0.5")] * 2
    (of_set,) = [record for record in told["records"] if record["what"] == "set of samples"]
    samples = [str(sample) for sample in submission.samples.order_by("ordinal")]
    assert of_set["facts"] == {f"{sample} kg": "2.5" for sample in samples}
    held = {tie["to"] for tie in told["ties"] if (tie["of"], tie["tie"]) == (of_set["key"], "holds")}
    assert held == {f"sample.{sample}" for sample in samples}
    page = browser.get(reverse("derived-trace", args=[line.pk]))
    assert "2 samples, 5.000 kg in all" in words_of(page)
    *_, issued = page.context["stages"]
    assert browser.get(issued.stands_on[0].address).url == reverse("derived-trace", args=[line.pk])  # type: ignore[attr-defined]
    assert file_of(browser, line, "pdf").startswith(b"%PDF")


def test_a_figure_on_dry_basis_stands_on_its_drying(lab: Laboratory, as_role: AsRole) -> None:
    """10 g lost 0.8 g, 8 %: 120 ÷ 0.92 = 130.4 (by hand)."""
    dry = a_derived(lab, "dry-cu", form=DerivedForm.DRY, terms=[{"element": "Cu", "unit": "mg/kg"}])
    submission = a_submission(lab, 1, derived=[dry])
    an_evaluated_run(lab, submission)
    record_mass_losses(
        by=lab.people["preparer"], at=lab.later(), kind=MassLossKind.MOISTURE, temperature_C=105.0,
        balance=lab.balance, rows=[Heated(submission.samples.get().number, 20.0, 30.0, 29.2)],
    )  # fmt: skip
    line = certified(lab, submission, "dry-cu")
    told = told_of(as_role("auditor"), line)
    assert told["printed"][0]["printed"] == "130"
    assert float(told["inputs"][0]["moisture_percent"]) == pytest.approx(8.0)
    (drying,) = [record for record in told["records"] if record["what"] == "moisture"]
    assert [AuditEvent.objects.get(seq=seq).act for seq in drying["audit"]] == ["record_mass_losses"]
    used = {tie["to"] for tie in told["ties"] if (tie["of"], tie["tie"]) == (f"derivation.{line.pk}", "used")}
    assert drying["key"] in used


def asked(browser: Client, address: str) -> int:
    cache.clear()
    with CaptureQueriesContext(connection) as queries:
        assert browser.get(address).status_code == 200
    return len(queries)


def test_it_asks_as_often_of_twenty_five_inputs_as_of_one(lab: Laboratory, as_role: AsRole) -> None:
    browser, grade, counts = as_role("auditor"), a_grade(lab), []
    for place, count in enumerate((1, 25)):
        submission = a_submission(lab, count, names=[f"{place}-{each}" for each in range(count)], derived=[grade])
        samples = list(submission.samples.order_by("ordinal"))
        a_set_of(lab, submission)
        batches = [a_batch(lab, lab.version, part) for part in (samples[:20], samples[20:]) if part]
        run = a_run(lab, *batches)
        an_imported_file(lab, run, a_reading_file(run))
        evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
        line = certified(lab, submission, "grade-cu")
        files = [reverse("derived-file", args=[line.pk, kind]) for kind in ("json", "prov.json", "pdf")]
        counts.append([asked(browser, address) for address in (reverse("derived-trace", args=[line.pk]), *files)])
    assert counts[0] == counts[1]
    assert max(counts[1]) <= 20


def test_another_kind_of_file_and_a_measured_number_are_not_there(total: CertificateLine, as_role: AsRole) -> None:
    browser, measured = as_role("auditor"), total.certificate.lines.filter(derived__isnull=True).earliest("pk")
    assert browser.get(reverse("derived-file", args=[total.pk, "exe"])).status_code == 404
    assert browser.get(reverse("derived-file", args=[measured.pk, "json"])).status_code == 404


@pytest.mark.parametrize(
    ("kind", "begins"),
    [
        ("json", '{\n "format": 1,\n "derived"'),
        ("prov", "{"),
        ("page", "Cu + Pb in KF26-00001: Cu + Pb, each in mg/kg"),
    ],
)
def test_the_command_writes_page_json_and_prov(total: CertificateLine, kind: str, begins: str) -> None:
    said = StringIO()
    call_command("trace", str(total.pk), derived=True, format=kind, stdout=said)
    assert said.getvalue().startswith(begins)
    with pytest.raises(CommandError, match="no printed derived number 999"):
        call_command("trace", "999", derived=True)
