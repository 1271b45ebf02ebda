"""A sample that came later than its submission: logged at its end, asked the same unless it says otherwise."""

import pytest

from labresults.actions.asking import AcceptedConcern
from labresults.actions.corrections import add_sample
from labresults.actions.delivery import receive_samples
from labresults.acts import BadInput
from labresults.queries.bench_waiting import samples_to_begin
from labresults.queries.issued import issues_of_sample
from labresults.queries.samples import asked_of_sample
from labresults.queries.waiting import station_of_submission
from labresults.readers.delivery import DeliveredSample
from labresults.terms import Basis, Correction
from tests.actions.test_corrections import another_method, by_reception, certified
from tests.builders import Laboratory, a_submission


def test_a_sample_added_later_gets_number_container_and_holder(lab: Laboratory) -> None:
    submission = a_submission(lab, 2)

    sample = add_sample(
        submission=submission, row=DeliveredSample(1, "late one", "rock", "12.5"), place="cold store",
        **by_reception(lab, "lay in the other car"),
    )  # fmt: skip

    assert (sample.number, sample.ordinal, sample.delivered_g) == ("KF26-00003", 3, 12.5)
    assert sample.subsamples.get().kind == "container"
    entry = sample.custody.get()
    assert (entry.place, entry.held_by, entry.since) == ("cold store", lab.people["reception"], lab.clock)
    assert sample.corrections.get().what == Correction.ADDED
    assert submission.requests.count() == 1
    assert sample.number in [row.number for row in samples_to_begin("AR-7", lab.later())]


def test_a_sample_that_asks_otherwise_gives_the_request_a_new_version(lab: Laboratory) -> None:
    another_method(lab)
    submission = a_submission(lab, 2)
    row = DeliveredSample(1, "late", "soil", "30", methods=("AR-8",), basis="dry basis")

    sample = add_sample(submission=submission, row=row, **by_reception(lab))

    asked = asked_of_sample(sample)
    assert ([method.code for method in asked.methods], asked.basis, asked.request.version) == (["AR-8"], Basis.DRY, 2)
    assert [m.code for m in asked_of_sample(submission.samples.get(ordinal=1)).methods] == ["AR-7"]


def test_what_a_new_version_follows_on_keeps_what_was_accepted(lab: Laboratory) -> None:
    another_method(lab)
    submission = receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, methods=[lab.method],
        rows=[DeliveredSample(1, "a", "soil", "0.2")],
        concerns=[AcceptedConcern("too little|row 1|AR-7", "the client has no more")],
    )  # fmt: skip
    add_sample(submission=submission, row=DeliveredSample(1, "b", "soil", methods=("AR-8",)), **by_reception(lab))
    newest = submission.requests.latest("version")
    assert newest.version == 2
    assert [concern.reason for concern in newest.concerns.all()] == ["the client has no more"]


def test_after_a_certificate_an_added_sample_puts_the_submission_on_the_path_again(lab: Laboratory) -> None:
    submission, _ = certified(lab)
    assert station_of_submission(submission.number) == []
    add_sample(submission=submission, row=DeliveredSample(1, "late", "soil", "30"), **by_reception(lab))
    assert {str(row.station): row.samples for row in station_of_submission(submission.number)}["preparation"] == 1
    assert submission.requests.count() == 2


@pytest.mark.parametrize(
    ("row", "says"),
    [
        pytest.param(DeliveredSample(1, "", "soil"), "blank", id="blank"),
        pytest.param(DeliveredSample(1, "a", "sol"), "Did you mean “soil”", id="matrix"),
        pytest.param(DeliveredSample(1, "a", "soil", "-1"), "not a quantity", id="mass"),
        pytest.param(DeliveredSample(1, "a", "soil", methods=("XX",)), "not a method", id="method"),
        pytest.param(DeliveredSample(1, "NRD014 112.0 m", "soil"), "KF26-00001 of S26-0001 is", id="there already"),
        pytest.param(DeliveredSample(1, "a", "soil", "0.1"), "too little", id="a concern nobody accepted"),
    ],
)
def test_a_bad_row_is_not_added(row: DeliveredSample, says: str, lab: Laboratory) -> None:
    submission = a_submission(lab, 1)
    with pytest.raises(BadInput) as refusal:
        add_sample(submission=submission, row=row, **by_reception(lab))
    assert says in " ".join([str(refusal.value), *map(str, refusal.value.problems)])
    assert submission.samples.count() == 1


def test_a_concern_accepted_with_a_reason_is_kept_with_the_request(lab: Laboratory) -> None:
    submission = a_submission(lab, 1)
    accepted = AcceptedConcern("too little|row 1|AR-7", "the client has no more", tell_client=True)
    sample = add_sample(
        submission=submission, row=DeliveredSample(1, "a", "soil", "0.1"), concerns=[accepted], **by_reception(lab)
    )
    concern = submission.requests.get().concerns.get()
    assert (concern.sample, concern.reason, concern.tell_client) == (sample, "the client has no more", True)


def test_a_sample_that_was_added_after_the_certificate_is_not_shown_as_reported(lab: Laboratory) -> None:
    submission, certificate = certified(lab)
    late = add_sample(submission=submission, row=DeliveredSample(1, "late", "soil", "30"), **by_reception(lab))
    assert issues_of_sample(late) == []
    assert issues_of_sample(submission.samples.get(ordinal=1)) == [certificate]
