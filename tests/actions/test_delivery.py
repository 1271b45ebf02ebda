"""A delivery: all rows or none, every problem at its row, the client's words kept to the letter, none twice."""

from datetime import UTC, date, datetime

import pytest
from pytest_django import DjangoAssertNumQueries

from labresults.actions.asking import AcceptedConcern
from labresults.actions.calendar import mark_calendar_day
from labresults.actions.delivery import receive_samples, remember_request
from labresults.actions.limits import register_limits
from labresults.actions.samples import register_matrices
from labresults.acts import BadInput, NotAuthorised, WrongState
from labresults.models import AuditEvent, LimitSet, Method, RequestConcern, Sample, Submission
from labresults.queries.request_review import logged_with, request_of, usual_request
from labresults.readers.delivery import DeliveredSample
from labresults.terms import Basis, Concern, DayPart
from tests.builders import NOW, Laboratory, a_method, a_submission


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


def test_what_a_row_says_of_its_sample_is_kept(lab: Laboratory) -> None:
    register_matrices(by=lab.people["quality manager"], at=NOW, area="waters and trade waste", names=["ground water"])
    given = [
        DeliveredSample(
            1, "well 3", "ground water", delivered_mL="250", density="1.02", sampled="2026-11-13 09:30",
            note="cap loose", hazards=("corrosive", "toxic"), field_filtered="yes", preservation="nitric acid, pH 2",
        ),
        DeliveredSample(2, "core 4", "soil", delivered_g="12.5", sampled="2026-11-12"),
    ]  # fmt: skip
    submission = receive_samples(
        by=lab.people["reception"], at=NOW, client=lab.client, rows=given, methods=[lab.method], seals="broken",
        temperature_C=4.5, kept_days=30, acidified=True, concerns=accepting("matrix|row 1|AR-7"),
    )  # fmt: skip

    water, soil = submission.samples.order_by("ordinal")
    assert (water.delivered_g, water.delivered_mL, water.density_kg_per_L) == (None, 250.0, 1.02)
    assert water.sampled_at == datetime(2026, 11, 13, 9, 30, tzinfo=UTC)
    assert (water.hazards, water.field_filtered) == (["corrosive", "toxic"], True)
    assert (water.preservation, water.note) == ("nitric acid, pH 2", "cap loose")
    # the water was acidified here and waits for its time; a soil is not acidified
    assert (water.acidified_at, soil.acidified_at) == (NOW, None)
    assert (soil.field_filtered, soil.hazards, soil.subsamples.get().mass_g) == (None, [], 12.5)
    assert (submission.seals, submission.temperature_C, submission.kept_days) == ("broken", 4.5, 30)


def test_a_sample_may_ask_for_its_own_methods_basis_and_limits(lab: Laboratory) -> None:
    a_method(lab.people["quality manager"], "AR-8")
    limits, other = some_limits(lab, "Waste rock"), some_limits(lab, "Garden soil")
    given = [
        DeliveredSample(1, "a", "soil"),
        DeliveredSample(2, "b", "soil", methods=("AR-8",), basis="dry basis", limits=str(other)),
        DeliveredSample(3, "c", "soil", limits="none"),
        DeliveredSample(4, "d", "soil", basis="dry basis"),
    ]
    submission = receive_samples(
        by=lab.people["reception"], at=NOW, client=lab.client, rows=given, methods=[lab.method], limit_set=limits
    )

    request = submission.requests.get()
    asked = set(request.methods.values_list("sample__ordinal", "method__code"))
    assert asked == {(None, "AR-7"), (2, "AR-8")}
    terms = {row.sample.ordinal: (row.basis, row.limit_set) for row in request.terms.all()}
    assert terms == {2: ("dry basis", other), 3: ("as received", None), 4: ("dry basis", limits)}


def test_the_due_day_follows_the_longest_turnaround_in_the_laboratorys_own_calendar(lab: Laboratory) -> None:
    # Monday 16 November and seven working days, one of them closed: Thursday the week after instead of Wednesday.
    mark_calendar_day(
        by=lab.people["quality manager"], at=NOW, day=date(2026, 11, 19), part=DayPart.CLOSED, name="Founders’ day"
    )
    assert a_submission(lab, 1).requests.get().due_on == date(2026, 11, 26)


def test_the_same_form_twice_logs_one_delivery(lab: Laboratory) -> None:
    given = {"by": lab.people["reception"], "at": NOW, "client": lab.client, "methods": [lab.method]}
    first = receive_samples(rows=rows(("a", "soil")), form_key="one form", **given)
    with pytest.raises(WrongState, match=f"logged already, as {first.number}"):
        receive_samples(rows=rows(("a", "soil")), form_key="one form", **given)
    assert Submission.objects.get() == logged_with("one form") == first
    # a form without a key is never taken for another one
    receive_samples(rows=rows(("b", "soil")), **given)
    receive_samples(rows=rows(("b", "soil")), **given)
    assert logged_with("") is None


def test_a_concern_is_accepted_with_a_reason_or_nothing_is_logged(lab: Laboratory) -> None:
    given = [DeliveredSample(1, "a", "soil", "30"), DeliveredSample(2, "b", "soil", "0.2")]
    act = {"by": lab.people["reception"], "at": NOW, "client": lab.client, "rows": given, "methods": [lab.method]}
    for concerns in ([], [AcceptedConcern("too little|row 2|AR-7", "  ")], accepting("too little|row 1|AR-7")):
        with pytest.raises(BadInput) as refusal:
            receive_samples(concerns=concerns, **act)
        assert [(problem.row, problem.column) for problem in refusal.value.problems] == [(2, "delivered, g")]
        assert "0.2 g is too little" in str(refusal.value.problems[0])
    assert not Submission.objects.exists()

    submission = receive_samples(
        concerns=[AcceptedConcern("too little|row 2|AR-7", "all there is, says A. Roth", tell_client=True)], **act
    )
    kept = RequestConcern.objects.get()
    assert (kept.request.submission, kept.sample.client_identification) == (submission, "b")
    assert (kept.what, kept.reason, kept.tell_client) == (Concern.TOO_LITTLE, "all there is, says A. Roth", True)
    assert "all there is, says A. Roth" in AuditEvent.objects.latest("seq").content


def test_two_thousand_samples_with_methods_of_their_own_make_few_queries(
    lab: Laboratory, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for code in ("AR-8", "AR-9"):
        a_method(lab.people["quality manager"], code)
    given = [
        DeliveredSample(row, f"s {row}", "soil", "30", methods=("AR-7", "AR-8", "AR-9")) for row in range(1, 2_001)
    ]
    with django_assert_max_num_queries(34):  # with those of the year’s first delivery
        submission = receive_samples(
            by=lab.people["reception"], at=NOW, client=lab.client, rows=given, methods=list(Method.objects.all())
        )
    assert submission.samples.count() == 2_000
    assert submission.requests.get().methods.filter(sample__isnull=False).count() == 6_000


def test_a_usual_request_is_remembered_replaced_and_forgotten(lab: Laboratory) -> None:
    who = {"by": lab.people["reception"], "at": NOW, "client": lab.client}
    assert usual_request(lab.client) is None
    limits = some_limits(lab, "Waste rock")
    remember_request(methods=[lab.method], basis=Basis.DRY, limit_set=limits, **who)
    usual = usual_request(lab.client)
    assert usual is not None
    assert (usual.methods, usual.basis, usual.limit_set) == ((lab.method,), Basis.DRY, limits)
    remember_request(methods=[], **who)
    assert usual_request(lab.client) is None


def test_a_request_can_be_copied_from_an_earlier_submission(lab: Laboratory) -> None:
    earlier = request_of(a_submission(lab).number)
    assert (earlier.methods, earlier.basis, earlier.limit_set) == ((lab.method,), Basis.AS_RECEIVED, None)
    with pytest.raises(Submission.DoesNotExist, match="no submission S26-9999"):
        request_of("S26-9999")


def accepting(*keys: str) -> list[AcceptedConcern]:
    return [AcceptedConcern(key, "the client agrees") for key in keys]


def some_limits(lab: Laboratory, name: str) -> LimitSet:
    return register_limits(
        by=lab.people["quality manager"], at=NOW, name=name, edition="2026", source="the client",
        limits=[("Pb", 250.0, "mg/kg")],
    )  # fmt: skip
