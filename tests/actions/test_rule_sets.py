"""Which reporting rules stand for a submission, and what a certificate prints by several."""

import pytest
from django.db import connection

from labresults import guards
from labresults.actions.requests import change_request
from labresults.actions.scope import ScopeRow, register_scope
from labresults.acts import BadInput
from labresults.models import Scope, Submission
from labresults.terms import Basis
from reports.actions.certificates import amend_certificate
from reports.actions.rule_sets import choose_rule_set, save_rule_set
from reports.document import CertificateDocument
from reports.models import Certificate, RuleSetVersion
from reports.queries.composed_again import printed_differences
from reports.queries.integrity import chain_problems
from reports.queries.rule_sets import chosen_for, rules_of_document
from reports.rules.ruleset import RuleSet
from tests.builders import NOW, Laboratory, a_certificate, a_method, a_submission, an_evaluated_run, approved


def saved(lab: Laboratory, name: str, version: int = 1, **settings: object) -> None:
    rules = RuleSet(name, version, **settings)  # type: ignore[arg-type]
    save_rule_set(by=lab.people["quality manager"], at=lab.later(), rule_set=rules)


def chosen(lab: Laboratory, name: str, **of: object) -> None:
    choose_rule_set(by=lab.people["issuer"], at=lab.later(), name=name, **of)


def test_the_nearest_choice_stands(lab: Laboratory) -> None:
    submission = a_submission(lab)
    for name in ("Water", "Client", "Own"):
        saved(lab, name)
    assert chosen_for(submission).main.name == "Client"  # nothing is chosen: the first by name
    chosen(lab, "R2")
    chosen(lab, "Water", method=lab.method)
    found = chosen_for(submission)
    assert (found.main.name, {code: row.name for code, row in found.by_method.items()}) == ("R2", {"AR-7": "Water"})
    chosen(lab, "Client", client=lab.client)
    assert (chosen_for(submission).main.name, chosen_for(submission).by_method) == ("Client", {})
    chosen(lab, "Own", submission=submission)
    assert chosen_for(submission).main.name == "Own"
    # and what is taken back stands no more
    chosen(lab, "", submission=submission)
    chosen(lab, "", client=lab.client)
    assert chosen_for(submission).main.name == "R2"


def test_a_rule_set_that_is_not_there_is_refused(lab: Laboratory) -> None:
    with pytest.raises(BadInput, match="no rule set R7"):
        chosen(lab, "R7")
    with pytest.raises(BadInput, match="one of them"):
        chosen(lab, "R2", client=lab.client, method=lab.method)


def certified(lab: Laboratory) -> CertificateDocument:
    submission = a_submission(lab)
    an_evaluated_run(lab, submission)
    return CertificateDocument.from_json(a_certificate(lab, approved(lab, submission), draw=False).document)


def by_two(lab: Laboratory) -> Certificate:
    """Everything is printed by R2, what the method measured by rules of its own."""
    return a_certificate(lab, approved(lab, measured_by_two(lab)), draw=False)


def measured_by_two(lab: Laboratory) -> Submission:
    saved(lab, "One figure", figures=1, limit_figures=1)
    chosen(lab, "R2")
    chosen(lab, "One figure", method=lab.method)
    submission = a_submission(lab)
    an_evaluated_run(lab, submission)
    return submission


def test_a_certificate_by_two_rule_sets_is_composed_again_as_it_was_printed(lab: Laboratory) -> None:
    certificate = by_two(lab)
    assert "One figure v1" in certificate.document
    assert list(printed_differences(certificate)) == []


def test_an_amendment_by_its_own_rules_prints_by_all_of_them_whatever_was_saved_since(lab: Laboratory) -> None:
    # given a certificate by two rule sets, and then newer versions of both
    certificate = by_two(lab)
    saved(lab, "R2", version=2, figures=5)
    saved(lab, "One figure", version=2, figures=2, limit_figures=2)
    given = {"by": lab.people["issuer"], "at": lab.later(), "reason": "A balance was wrong."}
    # when it is amended by its own rules
    new = amend_certificate(certificate=certificate, rule_set=certificate.rule_set, **given)
    # then nothing is printed otherwise
    document = CertificateDocument.from_json(new.document)
    assert (document.rule_name, document.changes) == ("R2 v1; AR-7 by One figure v1", ())
    # and when the newest are chosen, the method has its newest as well
    newest = amend_certificate(certificate=new, rule_set=RuleSetVersion.objects.get(name="R2", version=2), **given)
    assert CertificateDocument.from_json(newest.document).rule_name == "R2 v2; AR-7 by One figure v2"


def test_a_method_that_came_later_is_printed_by_the_rules_that_stand_for_it(lab: Laboratory) -> None:
    # given a certificate by two rule sets, and a method with rules of its own that was asked for later
    certificate = by_two(lab)
    chosen(lab, "R2", method=lab.method)
    first, lab.version = lab.method, a_method(lab.people["quality manager"], "ZN-1")
    chosen(lab, "One figure", method=lab.version.method)
    change_request(
        by=lab.people["reception"], at=lab.later(), reason="The client asks for more.",
        submission=certificate.submission, methods=[first, lab.version.method], basis=Basis.AS_RECEIVED, due_on=None,
        agreed_with="Oda Brennan",
    )  # fmt: skip
    an_evaluated_run(lab, certificate.submission)
    approved(lab, certificate.submission)
    # when it is amended by its own rules
    new = amend_certificate(
        by=lab.people["issuer"], at=lab.later(), reason="More was asked for.", certificate=certificate,
        rule_set=certificate.rule_set,
    )  # fmt: skip
    # then the first method keeps what it was printed by, whatever is chosen for it now
    name = CertificateDocument.from_json(new.document).rule_name
    assert name == "R2 v1; AR-7 by One figure v1; ZN-1 by One figure v1"


def test_an_older_version_of_the_rules_that_stand_leaves_methods_their_own(lab: Laboratory) -> None:
    submission = approved(lab, measured_by_two(lab))
    saved(lab, "R2", version=2, figures=5)
    certificate = a_certificate(lab, submission, draw=False)  # by R2 v1
    assert CertificateDocument.from_json(certificate.document).rule_name == "R2 v1; AR-7 by One figure v1"


def test_every_rule_set_that_printed_is_kept_as_evidence(lab: Laboratory) -> None:
    # given a certificate by two rule sets, and somebody who owns the database and changes the second
    certificate = by_two(lab)
    other = RuleSet("One figure", 1, figures=4).to_json()
    guards.remove(connection)
    RuleSetVersion.objects.filter(name="One figure").update(specification=other)
    # then it is named
    assert [str(problem) for problem in chain_problems(certificate) if "RuleSetVersion" in str(problem)]


def test_a_method_is_printed_by_its_own_rules_and_the_certificate_names_them(lab: Laboratory) -> None:
    saved(lab, "One figure", figures=1, limit_figures=1)
    chosen(lab, "R2")
    chosen(lab, "One figure", method=lab.method)
    document = certified(lab)
    assert document.rule_name == "R2 v1; AR-7 by One figure v1"
    assert [column.rule_set for column in document.columns] == ["One figure v1", "One figure v1"]
    assert document.rows[0].cells[0].printed == "100"
    main, others = rules_of_document(document)
    assert (str(main), {code: str(rules) for code, rules in others.items()}) == ("R2 v1", {"AR-7": "One figure v1"})


def in_scope(lab: Laboratory, element: str, low: float, high: float) -> None:
    register_scope(
        by=lab.people["quality manager"], at=lab.later(), method=lab.method, valid_from=NOW.date().replace(day=1),
        rows=[ScopeRow(element, "soil", low, high, "mg/kg")],
    )  # fmt: skip


def test_results_outside_the_scope_are_marked_and_none_inside_is_said_of_none(lab: Laboratory) -> None:
    in_scope(lab, "Cu", 5.0, 5000.0)
    document = certified(lab)
    outside = next(remark.mark for remark in document.remarks if remark.text == "Outside the scope of accreditation.")
    assert [cell.mark for cell in document.rows[0].cells] == ["", outside]
    assert "without the remark" in document.accreditation


def test_nothing_is_said_at_the_head_where_no_result_is_inside(lab: Laboratory) -> None:
    in_scope(lab, "Cu", 500.0, 5000.0)
    document = certified(lab)
    assert (document.accreditation, document.remarks) == ("", ())
    assert document.methods[0].accredited == "Outside the scope of accreditation."


@pytest.mark.parametrize(
    ("row", "says"),
    [
        (ScopeRow("Zn", "soil", 1.0, 2.0, "mg/kg"), "does not determine Zn"),
        (ScopeRow("Cu", "moon", 1.0, 2.0, "mg/kg"), "is not known"),
        (ScopeRow("Cu", "soil", 2.0, 1.0, "mg/kg"), "lower end first"),
        (ScopeRow("Cu", "soil", 1.0, 2.0, "mg/L"), "cannot be turned into"),
    ],
)
def test_a_scope_that_cannot_be_is_refused_by_its_row(lab: Laboratory, row: ScopeRow, says: str) -> None:
    with pytest.raises(BadInput) as refused:
        register_scope(
            by=lab.people["quality manager"], at=lab.later(), method=lab.method, rows=[row], valid_from=NOW.date()
        )
    assert any(says in str(problem) for problem in refused.value.problems)
    assert not Scope.objects.exists()
