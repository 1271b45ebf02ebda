"""Reception: all rows or none, every problem at its row, the client's words kept to the letter."""

from datetime import date

import pytest

from labresults.actions.samples import change_request, receive_samples, state_not_measured
from labresults.acts import BadInput, NotAuthorised
from labresults.models import AuditEvent, Sample, Submission
from labresults.readers.delivery import DeliveredSample
from labresults.terms import Basis, NotMeasured
from tests.builders import Laboratory, a_submission


def rows(*pairs: tuple[str, str]) -> list[DeliveredSample]:
    return [DeliveredSample(number, name, matrix) for number, (name, matrix) in enumerate(pairs, start=1)]


def received(lab: Laboratory, given: list[DeliveredSample]) -> Submission:
    return receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, rows=given, methods=[lab.method]
    )


def test_sixty_samples_get_numbers_in_order_and_a_due_date(lab: Laboratory) -> None:
    submission = a_submission(lab, 60)

    numbers = list(submission.samples.order_by("ordinal").values_list("number", flat=True))
    assert numbers[0] == "KF26-00001"
    assert numbers[-1] == "KF26-00060"
    # Monday 16 November and seven working days: Wednesday the week after.
    assert submission.requests.get().due_on == date(2026, 11, 25)
    assert submission.samples.first().subsamples.get().kind == "container"
    assert submission.samples.first().custody.get().held_by == lab.people["reception"]


@pytest.mark.parametrize(
    ("given", "row", "column", "says"),
    [
        pytest.param(rows(("a", "soil"), ("a", "soil")), 2, "client's own", "Row 1 has this", id="repeated"),
        pytest.param(rows(("a", "soil"), (" a ", "soil")), 2, "client's own", "Row 1 has this", id="looks the same"),
        pytest.param(rows(("", "soil")), 1, "client's own", "blank", id="blank"),
        pytest.param(rows(("a", "sol")), 1, "matrix", "Did you mean “soil”?", id="mistyped matrix"),
        pytest.param(rows(("a", "basalt")), 1, "matrix", "Known are: rock, soil", id="unknown matrix"),
        pytest.param(
            [DeliveredSample(1, "a", "soil", methods=("XX-9",))], 1, "methods", "not a method", id="unknown method"
        ),
        pytest.param([DeliveredSample(1, "a", "soil", delivered_g="-3")], 1, "delivered, g", "above zero", id="mass"),
        pytest.param([DeliveredSample(1, "a", "soil", delivered_g="3,5")], 1, "delivered, g", "“3,5”", id="comma"),
    ],
)
def test_a_bad_row_is_named_and_nothing_is_logged(
    lab: Laboratory, given: list[DeliveredSample], row: int, column: str, says: str
) -> None:
    events = AuditEvent.objects.count()
    with pytest.raises(BadInput) as refusal:
        received(lab, given)
    problem = refusal.value.problems[0]
    assert problem.row == row
    assert column in problem.column
    assert says in str(problem)
    assert not Sample.objects.exists()
    assert AuditEvent.objects.count() == events


def test_every_problem_is_named_not_only_the_first(lab: Laboratory) -> None:
    with pytest.raises(BadInput) as refusal:
        received(lab, rows(("", "soil"), ("b", "sol"), ("b", "soil")))
    assert [problem.row for problem in refusal.value.problems] == [1, 2, 3]


def test_the_clients_identification_is_kept_to_the_letter(lab: Laboratory) -> None:
    strange = '  NRD–014 / ½ <b>&"Å"  '
    submission = received(lab, rows((strange, "soil")))
    assert submission.samples.get().client_identification == strange


def test_numbers_go_on_and_are_never_used_again(lab: Laboratory) -> None:
    a_submission(lab, 2)
    with pytest.raises(BadInput):
        received(lab, rows(("", "soil")))
    assert a_submission(lab, 1, names=["x"]).samples.get().number == "KF26-00003"


def test_only_reception_logs(lab: Laboratory) -> None:
    with pytest.raises(NotAuthorised):
        receive_samples(
            by=lab.people["analyst"], at=lab.later(), client=lab.client, rows=rows(("a", "soil")), methods=[lab.method]
        )


def test_a_changed_request_is_a_new_version_beside_the_old(lab: Laboratory) -> None:
    submission = a_submission(lab)
    given = {"submission": submission, "methods": [lab.method], "basis": Basis.DRY, "due_on": date(2026, 12, 1)}
    with pytest.raises(BadInput, match="who of the client agreed"):
        change_request(by=lab.people["reception"], at=lab.later(), reason="hurried", agreed_with="", **given)

    change_request(by=lab.people["reception"], at=lab.later(), reason="hurried", agreed_with="A. Roth", **given)

    assert list(submission.requests.order_by("version").values_list("basis", flat=True)) == ["as received", "dry basis"]
    event = AuditEvent.objects.latest("seq")
    assert '"basis":"as received"' in event.content
    assert '"basis":"dry basis"' in event.content


def test_a_result_in_words_needs_a_reason(lab: Laboratory) -> None:
    sample = a_submission(lab).samples.first()
    given = {"sample": sample, "method": lab.method, "word": NotMeasured.INSUFFICIENT}
    with pytest.raises(BadInput, match="reason"):
        state_not_measured(by=lab.people["preparer"], at=lab.later(), **given)
    row = state_not_measured(by=lab.people["preparer"], at=lab.later(), reason="0.2 g left", **given)
    assert row.word == "insufficient sample"
