"""Derived results on certificates, computed again: by their edition, of two submissions, of methods preferred."""

import json
from datetime import date

import pytest

from labresults.actions.delivery import receive_samples
from labresults.acts import WrongState
from labresults.calculation.derived import EDITION
from labresults.models import Submission
from labresults.queries.reportable import reportable
from labresults.readers.delivery import DeliveredSample
from labresults.terms import DerivedForm, UncertaintyRule
from reports.actions.certificates import issue_certificate
from reports.models import Certificate, CertificateLine
from reports.queries.composed_again import printed_differences
from reports.queries.derived_check import derive_again, derived_differs, derived_lines
from reports.queries.printed_trace import line_of
from tests.actions.derived_builders import a_set, document_of, measured
from tests.builders import (
    Laboratory,
    a_certificate,
    a_derived,
    a_grade,
    a_method,
    a_submission,
    an_evaluated_run,
    approved,
)

pytestmark = pytest.mark.django_db


def test_it_is_computed_again_by_the_edition_that_it_was_printed_by(lab: Laboratory) -> None:
    """An issue whose document names no edition is of the first: its U took Cu and Pb of one portion as independent."""
    certificate = a_certificate(lab, measured(lab, a_derived(lab)), draw=False)
    assert document_of(certificate).derivation == EDITION == 2
    first = json.loads(certificate.document)
    del first["derivation"]
    certificate.document = json.dumps(first)
    (again, *_) = derive_again(derived_lines(certificate), certificate)
    assert (again.edition, again.u) == (1, pytest.approx((2.42**2 + 0.76**2) ** 0.5, rel=0.01))
    assert "its uncertainty is" in derived_differs(certificate)[0]


def together(lab: Laboratory, *submissions: Submission) -> Certificate:
    first, *further = submissions
    return issue_certificate(
        by=lab.people["issuer"], at=lab.later(), submission=first, further=further, rule_set=lab.rule_set
    )


def test_sets_of_one_name_in_two_submissions_are_told_apart(lab: Laboratory) -> None:
    """Both are called composite: 100 mg/kg in one submission and 400 in the other (by hand, one sample in each)."""
    grade, submissions = a_grade(lab), []
    for name, copper in (("n1", 100.0), ("n2", 400.0)):
        submission = a_submission(lab, 1, names=[name], derived=[grade])
        number = submission.samples.get().number
        an_evaluated_run(lab, submission, contents={number: {"Cu": copper, "Pb": 35.0}})
        a_set(lab, approved(lab, submission), {1: 1.0}, "composite")
        submissions.append(submission)
    certificate = together(lab, *submissions)
    printed = {grade.name: grade.cells[0].printed for grade in document_of(certificate).grades}
    one, other = (f"{submission.number}: composite" for submission in submissions)
    assert printed == {one: "100", other: "400"}
    for name, mean in printed.items():
        line = line_of(certificate.number, 1, name, "grade-cu")
        assert (line.printed, line.inputs.count()) == (mean, 1)
    with pytest.raises(CertificateLine.DoesNotExist):
        line_of(certificate.number, 1, "composite", "grade-cu")
    assert derived_differs(certificate) == []
    assert list(printed_differences(certificate)) == []


def test_two_versions_of_one_definition_do_not_share_a_column(lab: Laboratory) -> None:
    first = a_derived(lab)
    one = a_submission(lab, 1, names=["n1"], derived=[first])
    doubled = [{"element": "Cu", "unit": "mg/kg", "factor": 2.0}, {"element": "Pb", "unit": "mg/kg"}]
    other = a_submission(lab, 1, names=["n2"], derived=[a_derived(lab, terms=doubled)])
    for submission in (one, other):
        an_evaluated_run(lab, submission)
        approved(lab, submission)
    with pytest.raises(WrongState) as refused:
        together(lab, one, other)
    said = f"metals v1 with {one.number} and metals v2 with {other.number}. Change one of the requests first."
    assert said in str(refused.value)
    assert not Certificate.objects.exists()


def test_a_term_that_prefers_one_of_two_methods_is_computed_again_as_it_was_printed(lab: Laboratory) -> None:
    """By hand: soluble Cu 120 of total Cu 200, where the total is by FD-4 before AR-7: 60 %."""
    fusion = a_method(lab.people["quality manager"], code="FD-4")
    terms = [
        {"part": "a", "element": "Cu", "unit": "mg/kg", "by": ["AR-7"]},
        {"part": "b", "element": "Cu", "unit": "mg/kg", "by": ["FD-4", "AR-7"]},
    ]
    share = a_derived(lab, "share", reported_as="Cu, soluble", unit="%", form=DerivedForm.PERCENT, terms=terms)
    submission = receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, methods=[lab.method, fusion.method],
        rows=[DeliveredSample(1, "a", "soil", "30")], derived=[share],
    )  # fmt: skip
    an_evaluated_run(lab, submission)
    sample = submission.samples.get().number
    lab.version = fusion
    an_evaluated_run(lab, submission, contents={sample: {"Cu": 200.0, "Pb": 35.0}})
    certificate = a_certificate(lab, approved(lab, submission), draw=False)
    line = certificate.lines.get(column="share")
    assert line.value == pytest.approx(60.0, rel=1e-3)
    assert line.inputs.count() == 2
    assert derived_differs(certificate) == []


def test_a_mass_that_all_elements_of_a_portion_share_is_in_the_u_of_their_sum(lab: Laboratory) -> None:
    """u of the mass is 0.05 of 0.5 g, 10 %: of Cu 120 + Pb 120 it moves 24 mg/kg (GUM 5.2.2), not 12 √2 = 17."""
    lab.version = a_method(
        lab.people["quality manager"], valid_from=date(2026, 2, 1), uncertainty_rule=UncertaintyRule.BUDGET,
        u_mass_g=0.05,
    )  # fmt: skip
    submission = a_submission(lab, 1, derived=[a_derived(lab)])
    sample = submission.samples.get().number
    an_evaluated_run(lab, submission, contents={sample: {"Cu": 120.0, "Pb": 120.0}})
    (one,) = reportable(approved(lab, submission)).derived
    assert one.derived.value == pytest.approx(240.0, rel=0.01)
    assert one.derived.u >= 0.1 * one.derived.value
