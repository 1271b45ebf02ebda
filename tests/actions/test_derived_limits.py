"""Limits on what is computed: entered, compared with, printed, amended, and composed again. Lead and copper, mg/kg."""

import re
from io import BytesIO
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from openpyxl import load_workbook

from labresults.actions.delivery import receive_samples
from labresults.actions.limits import LimitRow, register_limits
from labresults.actions.requests import change_request
from labresults.acts import BadInput
from labresults.models import AuditEvent, Limit, LimitSet, Submission
from labresults.readers.delivery import DeliveredSample
from labresults.terms import Basis, DecisionRule
from reports.actions.certificates import amend_certificate
from reports.queries.composed_again import printed_differences
from reports.queries.derived_check import derived_differs
from reports.queries.derived_pages import printed_page
from reports.queries.files import content_of
from reports.queries.printed_trace import printed_trace
from reports.render.as_json import as_data
from reports.render.tables import render_long
from tests.actions.derived_builders import a_set, document_of, measured, previewed
from tests.builders import Laboratory, a_certificate, a_derived, a_grade, an_evaluated_run, approved
from tests.render.reading import pages

pytestmark = pytest.mark.django_db


def limits(lab: Laboratory, *rows: LimitRow, name: str = "Consent", **more: Any) -> LimitSet:
    return register_limits(
        by=lab.people["quality manager"], at=lab.later(), reason="", name=name, edition="2026", source="invented",
        limits=rows, **more,
    )  # fmt: skip


def of(code: str, value: float, unit: str = "mg/kg") -> LimitRow:
    return LimitRow("", value, unit, derived=code)


def compared(lab: Laboratory, submission: Submission, limit_set: LimitSet) -> None:
    """From now on the submission is compared with these limits."""
    change_request(
        by=lab.people["reception"], at=lab.later(), reason="limits", agreed_with="the client", submission=submission,
        methods=[lab.method], basis=Basis.AS_RECEIVED, due_on=None, limit_set=limit_set,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (of("hardness", 500.0), "Row 1: there is no computed result hardness; known are metals."),
        (of("metals", 500.0, "mg/L"), "Row 1, metals: it is computed in mg/kg, and the limit is in “mg/L”."),
        (LimitRow("Pb", 5.0, "mg/kg", derived="metals"), "Row 1: Pb and metals stand in one row."),
        (LimitRow("", 5.0, "mg/kg"), "Row 1: nothing is named."),
        (of("metals", 0.0), "Row 1, metals: a limit of 0 cannot be."),
        (LimitRow("Metals", 5.0, "mg/kg"), "Metals is no element that is known."),
    ],
)
def test_a_limit_is_for_one_thing_that_is_known_in_its_unit(row: LimitRow, words: str, lab: Laboratory) -> None:
    a_derived(lab)
    with pytest.raises(BadInput) as refused:
        limits(lab, row)
    assert words in " ".join(map(str, refused.value.problems))
    assert not LimitSet.objects.exists()


def test_it_stands_beside_limits_on_elements_once(lab: Laboratory) -> None:
    a_derived(lab)
    with pytest.raises(BadInput) as refused:
        limits(lab, of("metals", 5.0), of("metals", 6.0))
    assert "Row 2: metals has a limit already" in str(refused.value.problems)
    entered = limits(lab, LimitRow("Pb", 5.0, "mg/kg"), of("metals", 6.0))
    assert [limit.of for limit in entered.limits.order_by("pk")] == ["Pb", "metals"]
    told = AuditEvent.objects.get(act="register_limits").content
    assert '["metals",6.0,"mg/kg","at most"]' in told


@pytest.mark.parametrize("named", [{}, {"element_id": "Pb", "derived_code": "metals"}, {"derived_code": ""}])
def test_the_database_itself_refuses_both_and_neither(named: dict[str, str], lab: Laboratory) -> None:
    entered = limits(lab, LimitRow("Cu", 5.0, "mg/kg"))
    with pytest.raises(IntegrityError, match="limit_of_element_or_derived"), transaction.atomic():
        Limit.objects.create(limit_set=entered, value=5.0, unit="mg/kg", **named)


def test_a_statement_stands_beside_it_everywhere(lab: Laboratory) -> None:
    """Cu 120 and Pb 35 are 155 mg/kg with U 6.4 (test_derived): against 150 it does not conform, within U."""
    submission = measured(lab, a_derived(lab))
    compared(lab, submission, limits(lab, LimitRow("Pb", 250.0, "mg/kg"), of("metals", 150.0)))
    certificate = a_certificate(lab, submission)
    document = document_of(certificate)
    words = "does not conform, within U"
    assert {row.cells[-1].statement for row in document.rows} == {words}
    assert {(row.conformity, row.conforms) for row in document.rows} == {
        (f"Cu + Pb {words}; the others conform", False)
    }  # fmt: skip
    assert document.conformity_head == "Against the limits"
    text = document.conformity_text
    assert "Limits: Pb at most 250 mg/kg, Cu + Pb at most 150 mg/kg (Consent, 2026: invented)." in text
    assert "for the elements, and of its computed results, that have a limit" in text
    assert text.endswith(f"Of 3 samples, each by its worst result: 3 “{words}”.")

    data = as_data(document)
    assert [one["statement"] for one in data["samples"][0]["results"]] == ["", "conforms", words]
    assert render_long(document).decode().count(words) == 3
    printed = " ".join(pages(content_of(certificate.files.get(kind="pdf"))))
    assert "Cu + Pb at most 150 mg/kg" in printed
    assert "What follows from a statement is for the client and the authority to decide" in printed
    assert list(printed_differences(certificate)) == derived_differs(certificate) == []
    # and the way back of the number names it, before the string that is printed
    line = certificate.lines.get(column="metals", sample__number="KF26-00001")
    step, last = printed_page(line.pk).printing[-2:]
    assert (step.name, step.gives) == ("statement", words)
    assert "its limit of at most 150 mg/kg" in step.words
    assert (last.name, last.gives) == ("printed", "155")
    # as that of a measured one does
    step = printed_trace(certificate.number, 1, "KF26-00001", "AR-7 Pb").steps[-2]
    assert (step.name, step.gives) == ("statement", "conforms")
    assert "its limit of at most 250 mg/kg" in step.words


def test_one_limit_alone_heads_its_column(lab: Laboratory) -> None:
    submission = measured(lab, a_derived(lab))
    compared(lab, submission, limits(lab, of("metals", 150.0), decision_rule=DecisionRule.SIMPLE))
    document, _ = previewed(lab, submission)
    assert document.conformity_head == "Cu + Pb against 150 mg/kg"
    assert document.rows[0].conformity == "does not conform"
    assert document.conformity_text.count("Decision rule: simple acceptance.") == 1


def test_one_more_figure_where_the_print_would_contradict_is_composed_again(lab: Laboratory) -> None:
    # given 155.4 mg/kg, which three figures print as 155, against 155.2
    contents = {"contents": {f"KF26-0000{n}": {"Cu": 120.4, "Pb": 35.0} for n in (1, 2, 3)}}
    submission = measured(lab, a_derived(lab), **contents)
    compared(lab, submission, limits(lab, of("metals", 155.2), decision_rule=DecisionRule.SIMPLE))
    certificate = a_certificate(lab, submission, draw=False)
    assert [row.cells[-1].printed for row in document_of(certificate).rows] == ["155.4"] * 3
    assert list(printed_differences(certificate)) == derived_differs(certificate) == []


def test_what_was_not_asked_for_has_a_limit_for_nothing(lab: Laboratory) -> None:
    a_derived(lab)
    submission = measured(lab)
    compared(lab, submission, limits(lab, LimitRow("Pb", 250.0, "mg/kg"), of("metals", 150.0)))
    document, _ = previewed(lab, submission)
    assert "Not measured here, though there are limits for it: metals." in document.conformity_text
    assert document.rows[0].conformity == "conforms"


def test_an_amendment_names_a_changed_limit(lab: Laboratory) -> None:
    submission = measured(lab, a_derived(lab))
    compared(lab, submission, limits(lab, of("metals", 150.0)))
    first = a_certificate(lab, submission, draw=False)
    compared(lab, submission, limits(lab, of("metals", 140.0), name="Consent, corrected"))
    amended = amend_certificate(
        by=lab.people["issuer"], at=lab.later(), reason="the other consent", certificate=first, rule_set=lab.rule_set
    )
    changes = {(change.sample, change.column): (change.old, change.new) for change in document_of(amended).changes}
    assert changes["KF26-00001", "Statement"] == ("does not conform, within U", "does not conform")
    old, new = changes["", "Limits and decision rule"]
    assert "Cu + Pb at most 150 mg/kg" in old
    assert "Cu + Pb at most 140 mg/kg" in new
    assert list(printed_differences(first)) == list(printed_differences(amended)) == []


@pytest.fixture
def graded(lab: Laboratory) -> Submission:
    """By hand: (1 × 100 + 3 × 200) / 4 = 175 mg/kg over two samples."""
    contents = {"KF26-00001": {"Cu": 100.0, "Pb": 35.0}, "KF26-00002": {"Cu": 200.0, "Pb": 35.0}}
    submission = measured(lab, a_grade(lab), contents=contents)
    a_set(lab, submission, {1: 1.0, 2: 3.0})
    return submission


def test_a_mean_over_a_set_is_compared_too(lab: Laboratory, graded: Submission) -> None:
    compared(lab, graded, limits(lab, of("grade-cu", 150.0)))
    first = a_certificate(lab, graded)
    document = document_of(first)
    assert document.grades[0].cells[0].statement == "does not conform"
    assert document.grades[0].cells[0].u
    line = first.lines.get(column="grade-cu")
    assert [step.gives for step in printed_page(line.pk).printing if step.name == "statement"] == ["does not conform"]
    assert document.conformity_text.endswith("Of 1 set of samples: 1 “does not conform”.")
    printed = " ".join(pages(content_of(first.files.get(kind="pdf"))))
    assert re.search(r"intercept KF26-00001, KF26-00002 4 175 U [\d.]+ does not conform", printed)
    rows = load_workbook(BytesIO(content_of(first.files.get(kind="xlsx"))))["Results"].iter_rows(values_only=True)
    assert [row[4] for row in rows if row[0] == "intercept, statement"] == ["does not conform"]
    assert [one["statement"] for one in as_data(document)["grades"][0]["results"]] == ["does not conform"]
    compared(lab, graded, limits(lab, of("grade-cu", 200.0), name="Other"))
    amended = amend_certificate(
        by=lab.people["issuer"], at=lab.later(), reason="the other one", certificate=first, rule_set=lab.rule_set
    )
    changes = {(change.sample, change.column): (change.old, change.new) for change in document_of(amended).changes}
    assert changes["intercept", "grade-cu, statement"] == ("does not conform", "conforms")


def test_a_set_of_samples_with_different_limits_is_compared_with_none(lab: Laboratory) -> None:
    grade = a_grade(lab)
    low, high = limits(lab, of("grade-cu", 150.0), name="Low"), limits(lab, of("grade-cu", 200.0), name="High")
    submission = receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, methods=[lab.method], derived=[grade],
        limit_set=low, rows=[DeliveredSample(1, "a", "soil"), DeliveredSample(2, "b", "soil", limits=str(high))],
    )  # fmt: skip
    a_set(lab, submission, {1: 1.0, 2: 3.0})
    an_evaluated_run(lab, submission)
    document, _ = previewed(lab, approved(lab, submission))
    (cell,) = document.grades[0].cells
    assert (cell.statement, document.remarks[0].text) == (
        "", "Not compared with a limit: its samples are compared with different ones.",
    )  # fmt: skip
    assert cell.mark == document.remarks[0].mark
