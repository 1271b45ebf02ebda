"""From a printed number back: its page, its paper, its JSON, its PROV; and how seldom the database is asked."""

import json
import re
from collections.abc import Callable
from html import unescape
from io import BytesIO, StringIO
from typing import Any
from urllib.parse import urlencode

import pytest
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from prov.model import ProvActivity, ProvAgent, ProvDocument, ProvEntity
from pypdf import PdfReader

from labresults.actions.comments import comment_result
from labresults.actions.evaluation import evaluate_run
from labresults.actions.nonconforming import open_nonconforming_work
from labresults.models import AuditEvent, Result, Sample
from labresults.queries.forward import Doubt
from labresults.queries.trace_graph import graph_of
from labresults.queries.trace_pages import trace_page
from labresults.queries.trace_prov import NAMESPACE, identifier
from labresults.queries.trace_records import RecordKind
from labresults.terms import DoubtKind
from reports.models import CertificateLine
from reports.queries.printed_trace import printed_trace
from tests.builders import Laboratory, a_certificate, a_submission, an_evaluated_run, approved

AsRole = Callable[[str], Client]


def issued(lab: Laboratory, samples: int = 1, copper: float = 120.04) -> Result:
    """The copper result of the first sample of a submission that is certified."""
    submission = a_submission(lab, samples)
    first = submission.samples.earliest("pk").number
    an_evaluated_run(lab, submission, contents={first: {"Cu": copper, "Pb": 35.0}})
    approved(lab, submission)
    a_certificate(lab, submission, draw=False)
    return Result.objects.get(element="Cu", is_candidate=True, sample__number=first)


@pytest.fixture
def result(lab: Laboratory) -> Result:
    return issued(lab)


def place_of(line: CertificateLine) -> str:
    address = reverse("printed-trace", args=[line.certificate.number, line.certificate.issue])
    return f"{address}?{urlencode({'of': line.sample.number, 'column': line.column})}"


def words_of(answer: Any) -> str:
    assert answer.status_code == 200
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.content.decode())).split())


def file_of(browser: Client, result: Result, kind: str) -> bytes:
    answer = browser.get(reverse("trace-file", args=[result.pk, kind]))
    assert answer.status_code == 200
    return bytes(answer.content)


def test_a_printed_number_is_followed_from_its_string_through_rules_and_arithmetic_to_the_readings(
    result: Result, as_role: AsRole
) -> None:
    words = words_of(as_role("auditor").get(place_of(result.printed.get())))
    reading = result.evaluation.run.readings.get(position=result.position, line=result.line)
    in_order = [
        "Why is this one 120 mg/kg?",
        "From the value to “120”",
        f"As it is carried, not rounded {result.value!r} mg/kg",
        "At or above the detection limit",
        "Three figures, half to even",
        "The arithmetic",
        " + ".join(reading.replicates),
        "Divided by the test portion",
        "As it is printed",
    ]
    places = [words.find(each) for each in in_order]
    assert -1 not in places, in_order[places.index(-1)]
    assert places == sorted(places)


@pytest.mark.parametrize(
    ("copper", "printed"), [(120.04, "120"), (120.5, "120"), (0.2, "<1"), (3.26, "3"), (74.85, "75")]
)
def test_the_rule_steps_end_in_the_printed_string(lab: Laboratory, copper: float, printed: str) -> None:
    """Given 0.5 g to 50 mL and a detection limit of 1 mg/kg; three figures, no finer than the limit, half to even."""
    line = issued(lab, copper=copper).printed.get()
    found = printed_trace("C26-0001", 1, line.sample.number, line.column)
    assert (found.steps[-1].gives, line.printed) == (printed, printed)
    assert "by the rules alone" not in found.steps[-1].words


@pytest.mark.parametrize(
    ("step", "page", "act"),
    [
        ("The reading", "/runs/R26-0001?at=", "import_readings"),
        ("Through the curve", "/runs/R26-0001", "evaluate_run"),
        ("Not applied by this method version", "/methods/AR-7?version=1", "add_method_version"),
        ("Times the volume", "/preparation/B26-0001", "record_weighings"),
        ("Divided by the test portion", "/preparation/B26-0001", "record_weighings"),
        ("The result", "/runs/R26-0001?evaluation=1", "evaluate_run"),
    ],
)
def test_each_step_leads_to_its_record_and_to_the_event_that_made_it(
    result: Result, as_role: AsRole, step: str, page: str, act: str
) -> None:
    browser = as_role("auditor")
    steps = browser.get(reverse("trace", args=[result.pk])).context["steps"]
    one = next(each for each in steps if each.step.what == step)
    assert one.address.startswith(page)
    assert browser.get(one.address).status_code == 200
    assert [AuditEvent.objects.get(seq=seq).act for seq in one.record.events] == [act]


def test_the_drawing_leads_from_the_number_to_lots_parents_and_the_check_of_the_balance(
    result: Result, as_role: AsRole
) -> None:
    page = as_role("auditor").get(reverse("trace", args=[result.pk])).content.decode()
    drawing = page.partition('<svg class="lineage"')[2].partition("</svg>")[0]
    for address in (
        "/lots/L-2200",
        "/equipment/B2",
        "/samples/KF26-00001",
        "/certificates/C26-0001/1",
        "/methods/AR-7",
    ):
        assert f'href="{address}' in drawing, address
    assert "passed 1 Nov 2026" in drawing
    assert "<title>Lineage of Cu in KF26-00001, 120 mg/kg</title>" in drawing


def test_the_json_gives_every_number_back_bit_for_bit(result: Result, as_role: AsRole) -> None:
    told = json.loads(file_of(as_role("auditor"), result, "json"))
    last = told["arithmetic"][-1]
    assert (last["what"], float(last["value"])) == ("The result", result.value)
    assert float(told["computed_again"]["value"]) == result.value
    records = {record["key"]: record for record in told["records"]}
    own = records[told["result"]]["facts"]
    assert (float(own["value"]), float(own["u"]), own["unit"]) == (result.value, result.u, "mg/kg")
    assert told["printed"][0]["steps"][-1]["gives"] == "120"
    assert {step["record"] for step in told["arithmetic"]} <= records.keys()
    assert {tie[end] for tie in told["ties"] for end in ("of", "to")} <= records.keys()
    events = {event["event"]: event for event in told["audit"]}
    assert {seq for record in told["records"] for seq in record["audit"]} <= events.keys()
    assert all(AuditEvent.objects.get(seq=seq).sha256 == event["sha256"] for seq, event in events.items())


def test_the_prov_document_reads_back_and_holds_everything_that_the_trace_holds(
    result: Result, as_role: AsRole
) -> None:
    content = file_of(as_role("auditor"), result, "prov.json").decode()
    read = ProvDocument.deserialize(content=content, format="json")
    graph = graph_of(trace_page(result.pk))
    classes = {
        RecordKind.THING: ProvEntity, RecordKind.ACT: ProvActivity,
        RecordKind.PERSON: ProvAgent, RecordKind.PROGRAM: ProvAgent,
    }  # fmt: skip
    for record in graph.records.values():
        name = NAMESPACE + identifier(record.key).partition(":")[2]
        found = [each for each in read.get_records(classes[record.kind]) if each.identifier.uri == name]
        assert len(found) == 1, record.key
    kinds = {record.what for record in graph.records.values()}
    assert kinds >= {
        "printed number", "certificate", "reporting rules", "result", "reading", "reading of a standard",
        "file of readings", "calibration", "standard", "test portion", "preparation", "weighing", "balance",
        "check of a balance", "sample", "request", "method version", "evaluation", "run", "review",
        "control sample", "person", "program",
    }  # fmt: skip
    assert ProvDocument.deserialize(content=read.serialize(format="json"), format="json") == read
    relations = set(json.loads(content))
    assert relations >= {
        "wasGeneratedBy", "used", "wasDerivedFrom", "wasAttributedTo", "wasAssociatedWith", "hadMember",
    }  # fmt: skip


def test_the_notation_of_prov_says_the_same(result: Result, as_role: AsRole) -> None:
    told = file_of(as_role("auditor"), result, "provn").decode()
    assert told.startswith("document")
    assert told.rstrip().endswith("endDocument")
    assert f"entity(lab:result.{result.pk}" in told
    assert f"wasGeneratedBy(lab:result.{result.pk}, lab:evaluation.R26-0001.1, -)" in told


def test_a_standard_that_was_left_out_stands_there_as_rejected(lab: Laboratory, as_role: AsRole) -> None:
    evaluation = an_evaluated_run(lab, a_submission(lab, 1))
    evaluate_run(
        by=lab.people["analyst"], at=lab.later(), run=evaluation.run, left_out=[(3, "Cu 324.754")],
        reason="The third standard was spilled.",
    )  # fmt: skip
    result = Result.objects.get(element="Cu", is_candidate=True, evaluation__version=2)
    told = json.loads(file_of(as_role("auditor"), result, "json"))
    roles = {tie["to"]: tie["role"] for tie in told["ties"] if tie["tie"] == "used"}
    assert roles["reading.R26-0001.3.Cu-324.754"] == "rejected standard"
    assert roles["reading.R26-0001.2.Cu-324.754"] == "standard"
    derived = {tie["to"] for tie in told["ties"] if tie["tie"] == "comes from" and tie["of"].startswith("calibration")}
    assert "reading.R26-0001.3.Cu-324.754" not in derived


def test_the_paper_holds_the_whole_way(result: Result, as_role: AsRole) -> None:
    paper = file_of(as_role("auditor"), result, "pdf")
    text = "".join("".join(page.extract_text() for page in PdfReader(BytesIO(paper)).pages).split())
    reading = result.evaluation.run.readings.get(position=result.position, line=result.line)
    head = AuditEvent.objects.filter(act="issue_certificate").get()
    for expected in (
        "Why is this one 120 mg/kg?", "the same, bit for bit", " + ".join(reading.replicates), "L-2203",
        "Three figures".lower(), "The standards of the curve", head.sha256, "End of the way back of Cu in KF26-00001",
    ):  # fmt: skip
        assert "".join(expected.split()) in text, expected


def test_remarks_and_nonconforming_work_stand_beside_the_number(
    lab: Laboratory, result: Result, as_role: AsRole
) -> None:
    comment_result(by=lab.people["reviewer"], at=lab.later(), result=result, text="The pulp looked wet.")
    work = open_nonconforming_work(
        by=lab.people["quality manager"], at=lab.later(), doubt=Doubt(DoubtKind.LOT, "L-2203"),
        what="The stock stood open.", effect="May read high.", reason="",
    )  # fmt: skip
    browser = as_role("auditor")
    words = words_of(browser.get(place_of(result.printed.get())))
    assert "The pulp looked wet." in words
    assert f"Nonconforming work {work.number} , on hold: The stock stood open." in words
    told = json.loads(file_of(browser, result, "json"))
    assert (told["remarks"][0]["text"], told["nonconforming_work"]) == ("The pulp looked wet.", [work.number])


def test_a_place_that_is_not_on_the_certificate_and_a_file_of_another_kind_are_not_there(
    result: Result, as_role: AsRole
) -> None:
    browser = as_role("auditor")
    assert browser.get(reverse("printed-trace", args=["C26-0001", 1]) + "?of=KF26-00001&column=Xx").status_code == 404
    assert browser.get(reverse("trace-file", args=[result.pk, "exe"])).status_code == 404


@pytest.mark.parametrize(("kind", "begins"), [("json", '{\n "format": 1'), ("prov", "{"), ("page", "Cu in KF26-00001")])
def test_the_command_writes_page_json_and_prov(result: Result, kind: str, begins: str) -> None:
    said = StringIO()
    call_command("trace", str(result.pk), format=kind, stdout=said)
    assert said.getvalue().startswith(begins)


def asked(browser: Client, address: str) -> list[str]:
    with CaptureQueriesContext(connection) as queries:
        assert browser.get(address).status_code == 200
    return [query["sql"] for query in queries.captured_queries]


def test_it_asks_as_often_when_there_is_ten_times_as_much(lab: Laboratory, result: Result, as_role: AsRole) -> None:
    browser, line = as_role("auditor"), result.printed.get()
    addresses = [reverse("trace", args=[result.pk]), place_of(line), reverse("trace-file", args=[result.pk, "json"])]
    browser.get(reverse("today"))  # the ribbon is drawn once after each act
    before = [len(asked(browser, address)) for address in addresses]
    for _ in range(2):
        issued(lab, samples=5)
    assert Sample.objects.count() > 10
    browser.get(reverse("today"))
    assert [len(asked(browser, address)) for address in addresses] == before
    assert max(before) < 30


@pytest.mark.skipif(connection.vendor != "sqlite", reason="the planner of PostgreSQL scans what is small")
def test_no_question_reads_a_table_that_grows_from_end_to_end(lab: Laboratory, result: Result, as_role: AsRole) -> None:
    browser = as_role("auditor")
    browser.get(reverse("today"))
    grow = re.compile(
        r"SCAN (labresults_(result|reading|position|weighing|controloutcome|selection|reviewedresult|auditevent|sample"
        r"|lot|evaluation|calibration)|reports_certificateline|reports_certificate)\b"
    )
    for sql in asked(browser, place_of(result.printed.get())):
        if not sql.startswith("SELECT") or 'ORDER BY "labresults_auditevent"."seq" DESC LIMIT 1' in sql:
            continue
        with connection.cursor() as cursor:
            cursor.execute(f"EXPLAIN QUERY PLAN {sql}")
            plan = " / ".join(row[3] for row in cursor.fetchall())
        assert not grow.search(plan), f"{plan}: {sql}"
