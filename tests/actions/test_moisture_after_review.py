"""A figure on dry basis stands on a moisture: one that comes after the approval is reviewed too, by somebody else."""

import pytest

from labresults.actions.mass_losses import Heated, record_mass_losses
from labresults.actions.requests import change_request
from labresults.actions.review import approve_results
from labresults.acts import NotAuthorised, Refusal, WrongState
from labresults.models import Person, Result, Sample, Submission
from labresults.queries.readiness import readiness
from labresults.queries.results import waiting_for_review
from labresults.queries.review_lists import reviewable
from labresults.queries.review_pages import review_page
from labresults.queries.samples import candidates_of
from labresults.queries.waiting import station_of_submission
from labresults.terms import Basis, DerivedForm, MassLossKind, Station
from tests.builders import PASSWORD, Laboratory, a_certificate, a_derived, a_submission, an_evaluated_run, approved


@pytest.fixture
def copper(lab: Laboratory) -> Submission:
    """Copper and lead, 120 and 35 mg/kg as received, and copper asked for on dry basis too."""
    dry = a_derived(
        lab, "dry-cu", name="Copper on dry basis", reported_as="Cu, dry", form=DerivedForm.DRY,
        terms=[{"element": "Cu", "unit": "mg/kg"}],
    )  # fmt: skip
    submission = a_submission(lab, 1, derived=[dry])
    an_evaluated_run(lab, submission)
    return submission


def dried(lab: Laboratory, submission: Submission, percent: float, by: Person | None = None) -> None:
    """10 g of the sample lost so much of their mass at 105 °C."""
    sample = submission.samples.get()
    before = sample.subsamples.filter(mass_losses__isnull=False).exists()
    record_mass_losses(
        by=by or lab.people["preparer"], at=lab.later(), kind=MassLossKind.MOISTURE, temperature_C=105.0,
        balance=lab.balance,
        rows=[Heated(sample.number, 20.0, 30.0, 30.0 - percent / 10, reason="read anew" if before else "")],
    )  # fmt: skip


def elements_waiting(submission: Submission) -> list[str]:
    return [row.element_id for row in Result.objects.filter(pk__in=waiting_for_review(submission)).order_by("pk")]


def test_what_was_dried_before_the_signature_is_signed_with_it(lab: Laboratory, copper: Submission) -> None:
    dried(lab, copper, 10.0)
    approved(lab, copper)
    assert elements_waiting(copper) == []
    assert readiness([copper]).missing == []


def test_a_drying_after_the_signature_waits_to_be_reviewed_and_nothing_is_issued(
    lab: Laboratory, copper: Submission
) -> None:
    # given copper and lead approved, and ready to be issued
    approved(lab, copper)
    assert readiness([copper]).missing == []
    # when the moisture is recorded after that
    dried(lab, copper, 10.0)
    # then copper waits again, and says why; lead, which nothing on dry basis stands on, does not
    page = review_page(copper.number)
    assert [row.element_id for row in page.waiting] == ["Cu"]
    assert [look.why for look in page.looks] == [
        "Its moisture was recorded after Reviewer Person had approved it: look at the figure on dry basis, and approve"
        " it again."
    ]
    assert [row.station for row in station_of_submission(copper.number)] == [Station.REVIEW]
    assert reviewable().get(pk=copper.pk).unsaid == 1  # type: ignore[attr-defined]
    states = {each.result.element_id: each.state for each in candidates_of(Sample.objects.get())}
    assert states == {"Cu": "selected", "Pb": "approved"}
    # and nothing is issued
    with pytest.raises(Refusal) as refused:
        a_certificate(lab, copper, draw=False)
    assert "moisture was recorded since: it is to be reviewed again" in str(refused.value)


def test_it_is_approved_again_one_by_one_and_can_be_issued_then(lab: Laboratory, copper: Submission) -> None:
    approved(lab, copper)
    dried(lab, copper, 10.0)
    waiting = waiting_for_review(copper)
    with pytest.raises(WrongState, match="1 result asks for a look"):
        approve_results(by=lab.people["reviewer"], at=lab.later(), results=waiting, password=PASSWORD)
    approved(lab, copper)
    assert elements_waiting(copper) == []
    line = a_certificate(lab, copper, draw=False).lines.get(column="dry-cu")
    assert line.value == pytest.approx(120.0 / 0.9)
    # and a further drying makes it wait once more
    dried(lab, copper, 50.0)
    assert elements_waiting(copper) == ["Cu"]


def test_whoever_dried_it_does_not_approve_it(lab: Laboratory, copper: Submission) -> None:
    # given a reviewer who prepares as well, and dries what they had approved
    approved(lab, copper)
    lab.people["reviewer"].groups.add(*lab.people["preparer"].groups.all())
    who = Person.objects.get(pk=lab.people["reviewer"].pk)
    dried(lab, copper, 10.0, by=who)
    with pytest.raises(NotAuthorised, match="took part in drying KF26-00001"):
        approved(lab, copper)


def test_where_no_figure_on_dry_basis_is_asked_for_a_drying_changes_nothing(
    lab: Laboratory, copper: Submission
) -> None:
    approved(lab, copper)
    change_request(
        by=lab.people["reception"], at=lab.later(), reason="not needed", submission=copper, methods=[lab.method],
        basis=Basis.AS_RECEIVED, due_on=None, agreed_with="Oda Brennan", derived=[],
    )  # fmt: skip
    dried(lab, copper, 10.0)
    assert elements_waiting(copper) == []


def test_of_an_earlier_moment_it_counts_as_it_did_then(lab: Laboratory, copper: Submission) -> None:
    """A certificate is composed again as of its moment: what was approved then stays approved for it."""
    approved(lab, copper)
    dried(lab, copper, 10.0)
    assert readiness([copper]).missing != []
    assert readiness([copper], as_of=lab.clock).missing == []
