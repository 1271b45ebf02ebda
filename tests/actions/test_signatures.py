"""What a signature is: exact values, one decision each, a code taken once, and never one's own work."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection

from labresults import guards
from labresults.actions.batches import add_reagents, begin_batch, discard_portion
from labresults.actions.evaluation import accept_control, evaluate_run, let_stand, select_result
from labresults.actions.fire import Fired, record_fire_charges
from labresults.actions.mass_losses import Heated, record_mass_losses
from labresults.actions.materials import record_equipment_check, register_lot, register_material
from labresults.actions.overrides import allow_override
from labresults.actions.people import authorise_person
from labresults.actions.review import TurnedDown, approve_results, refuse_results, send_back_results, sign_review
from labresults.actions.second_factor import sign_in_with_code, turn_off_second_factor, turn_on_second_factor
from labresults.actions.weighings import Weighed, record_weighings
from labresults.acts import BadInput, NotAuthorised, WrongState
from labresults.models import (
    AuditEvent,
    ControlOutcome,
    Evaluation,
    LetStand,
    Lot,
    Person,
    PreparationBatch,
    Result,
    Review,
    SecondFactor,
    Submission,
    UsedCode,
)
from labresults.models import Laboratory as LaboratoryRow
from labresults.queries.results import waiting_for_review
from labresults.queries.second_factor import step_of
from labresults.queries.signed import shown_digest, values_digest
from labresults.roles import ROLES
from labresults.terms import Decision, MassLossKind, MaterialKind, OverrideKind, Role, Station, Task, Verdict
from tests.builders import (
    PASSWORD,
    SECRET,
    Laboratory,
    a_code,
    a_reading_file,
    a_run,
    a_second_factor,
    a_submission,
    a_weighed_batch,
    an_evaluated_run,
    an_imported_file,
)


@pytest.fixture
def measured(lab: Laboratory) -> Submission:
    submission = a_submission(lab, 1)
    an_evaluated_run(lab, submission)
    return submission


def approve(lab: Laboratory, submission: Submission, by: Person | None = None, **more: object) -> Review:
    waiting = waiting_for_review(submission)
    given: dict[str, object] = {"results": waiting, "looked_at": waiting, "password": PASSWORD, "at": lab.later()}
    return approve_results(by=by or lab.people["reviewer"], **(given | more))


# ---- never one's own work: each way of taking part, by somebody who does everything else of a reviewer


def may_do_everything(lab: Laboratory) -> Person:
    """The reviewer, with every role and every task of the laboratory."""
    person = lab.people["reviewer"]
    groups = [group for role in ROLES if role != "client" for group in lab.people[role].groups.all()]
    person.groups.add(*groups)
    for task in (Task.PREPARE, Task.MEASURE):
        authorise_person(
            by=lab.people["quality manager"], at=lab.later(), person=person, task=task, valid_from=date(2026, 1, 1)
        )
    return Person.objects.get(pk=person.pk)


def began_the_batch(lab: Laboratory, who: Person) -> Submission:
    submission = a_submission(lab, 1)
    batch = begin_batch(
        by=who, at=lab.later(), method_version=lab.version, samples=list(submission.samples.all()), caution_read=True
    )
    return measure(lab, submission, weigh(lab, batch, lab.people["preparer"]))


def weigh(lab: Laboratory, batch: PreparationBatch, by: Person) -> PreparationBatch:
    rows = [
        Weighed(p.label, mass_g=None if p.role == "method blank" else 0.5, volume_mL=50.0)
        for p in batch.portions.filter(discarded=None).order_by("tube")
    ]
    record_weighings(by=by, at=lab.later(), batch=batch, balance=lab.balance, rows=rows)
    return batch


def measure(lab: Laboratory, submission: Submission, batch: PreparationBatch, **file: object) -> Submission:
    run = a_run(lab, batch)
    an_imported_file(lab, run, a_reading_file(run, **file))  # type: ignore[arg-type]
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    return submission


def weighed(lab: Laboratory, who: Person) -> Submission:
    submission = a_submission(lab, 1)
    batch = begin_batch(
        by=lab.people["preparer"], at=lab.later(), method_version=lab.version,
        samples=list(submission.samples.all()), caution_read=True,
    )  # fmt: skip
    return measure(lab, submission, weigh(lab, batch, who))


def weighed_the_duplicate(lab: Laboratory, who: Person) -> Submission:
    """Of the same sample, by the side of which its result is judged."""
    submission = a_submission(lab, 1)
    batch = begin_batch(
        by=lab.people["preparer"], at=lab.later(), method_version=lab.version,
        samples=list(submission.samples.all()), caution_read=True,
    )  # fmt: skip
    weigh(lab, batch, lab.people["preparer"])
    label = batch.portions.get(role=Role.DUPLICATE).label
    again = Weighed(label, mass_g=0.51, volume_mL=50.0, reason="weighed again")
    record_weighings(by=who, at=lab.later(), batch=batch, balance=lab.balance, rows=[again])
    return measure(lab, submission, batch)


def discarded_a_portion(lab: Laboratory, who: Person) -> Submission:
    submission = a_submission(lab, 1)
    batch = begin_batch(
        by=lab.people["preparer"], at=lab.later(), method_version=lab.version,
        samples=list(submission.samples.all()), caution_read=True,
    )  # fmt: skip
    discard_portion(by=who, at=lab.later(), reason="spilled", portion=batch.portions.get(role="sample"))
    return measure(lab, submission, weigh(lab, batch, lab.people["preparer"]))


def added_reagents(lab: Laboratory, who: Person) -> Submission:
    submission = a_submission(lab, 1)
    batch = a_weighed_batch(lab, submission)
    quality = lab.people["quality manager"]
    acid = register_material(by=quality, at=lab.later(), code="HCL", name="acid", kind=MaterialKind.REAGENT)
    lot = register_lot(
        by=quality, at=lab.later(), number="L-HCL", material=acid, received_on=date(2026, 1, 5),
        expires_on=date(2027, 1, 5),
    )  # fmt: skip
    add_reagents(by=who, at=lab.later(), batch=batch, lots=[lot])
    return measure(lab, submission, batch)


def dried(lab: Laboratory, who: Person) -> Submission:
    submission = a_submission(lab, 1)
    record_mass_losses(
        by=who, at=lab.later(), kind=MassLossKind.MOISTURE, temperature_C=105.0, balance=lab.balance,
        rows=[Heated(submission.samples.get().number, 20.0, 25.0, 24.9)],
    )  # fmt: skip
    return measure(lab, submission, a_weighed_batch(lab, submission))


def planned(lab: Laboratory, who: Person) -> Submission:
    submission = a_submission(lab, 1)
    batch = a_weighed_batch(lab, submission)
    analyst = lab.people["analyst"]
    lab.people["analyst"] = who
    run = a_run(lab, batch)
    lab.people["analyst"] = analyst
    an_imported_file(lab, run)
    evaluate_run(by=analyst, at=lab.later(), run=run)
    return submission


def loaded(lab: Laboratory, who: Person) -> Submission:
    submission = a_submission(lab, 1)
    run = a_run(lab, a_weighed_batch(lab, submission))
    analyst = lab.people["analyst"]
    lab.people["analyst"] = who
    an_imported_file(lab, run)
    lab.people["analyst"] = analyst
    evaluate_run(by=analyst, at=lab.later(), run=run)
    return submission


def evaluated(lab: Laboratory, who: Person) -> Submission:
    submission = a_submission(lab, 1)
    run = a_run(lab, a_weighed_batch(lab, submission))
    an_imported_file(lab, run)
    evaluate_run(by=who, at=lab.later(), run=run)
    return submission


def evaluated_it_first(lab: Laboratory, who: Person) -> Submission:
    submission = a_submission(lab, 1)
    run = a_run(lab, a_weighed_batch(lab, submission))
    an_imported_file(lab, run, a_reading_file(run))
    for person in (who, lab.people["analyst"]):
        evaluate_run(by=person, at=lab.later(), run=run, reason="again")
    return submission


def chose(lab: Laboratory, who: Person) -> Submission:
    submission = a_submission(lab, 1)
    an_evaluated_run(lab, submission)
    standing = Result.objects.get(pk=waiting_for_review(submission)[0])
    select_result(by=who, at=lab.later(), reason="looks right", result=standing)
    return submission


def accepted(lab: Laboratory, who: Person) -> Submission:
    submission = a_submission(lab, 1)
    an_evaluated_run(lab, submission, factors={("CCV 1", "Pb"): 1.2})
    failed = list(ControlOutcome.objects.filter(verdict=Verdict.OUTSIDE))
    accept_control(by=who, at=lab.later(), reason="pump", outcomes=failed)
    return submission


def let_a_repeat_stand(lab: Laboratory, who: Person) -> Submission:
    submission = accepted(lab, lab.people["analyst"])
    evaluation = Evaluation.objects.latest("pk")
    position = waiting_position(submission)
    line = next(row[1] for row in evaluation.repeats if row[0] == position.number)
    let_stand(by=who, at=lab.later(), reason="of no matter", places=[(position, line)])
    assert LetStand.objects.get().position == position
    return submission


def waiting_position(submission: Submission) -> object:
    return Result.objects.get(pk=waiting_for_review(submission)[0]).position


def fired(lab: Laboratory, who: Person, before: Callable[[], None] = lambda: None) -> Submission:
    submission = a_submission(lab, 1)
    batch = a_weighed_batch(lab, submission)
    quality = lab.people["quality manager"]
    flux = register_material(by=quality, at=lab.later(), code="FLUX", name="flux", kind=MaterialKind.REAGENT)
    lot = register_lot(
        by=quality, at=lab.later(), number="L-FLUX", material=flux, received_on=date(2026, 1, 5),
        expires_on=date(2027, 1, 5),
    )  # fmt: skip
    before()
    label = batch.portions.get(role="sample").label
    row = Fired(label=label, crucible=1, flux_g=100.0, button_g=30.0)
    record_fire_charges(by=who, at=lab.later(), batch=batch, rows=[row], tray="T1", flux_lot=lot)
    return measure(lab, submission, batch)


def allowed_a_balance(lab: Laboratory, who: Person) -> Submission:
    submission = a_submission(lab, 1)
    record_equipment_check(
        by=lab.people["quality manager"], at=lab.later(), equipment=lab.balance, done_on=date(2026, 11, 10),
        due_on=date(2026, 11, 15), what="calibration", passed=True,
    )  # fmt: skip
    allow_override(
        by=who, at=lab.later(), reason="weighed a known mass", kind=OverrideKind.OVERDUE_EQUIPMENT,
        equipment=lab.balance,
    )  # fmt: skip
    return measure(lab, submission, a_weighed_batch(lab, submission))


def expired(lab: Laboratory, who: Person, number: str) -> None:
    Lot.objects.filter(number=number).update(expires_on=date(2026, 11, 1))
    allow_override(
        by=who, at=lab.later(), reason="compared with the new lot", kind=OverrideKind.EXPIRED_LOT,
        lot=Lot.objects.get(number=number),
    )  # fmt: skip


def allowed_a_standard(lab: Laboratory, who: Person) -> Submission:
    submission = a_submission(lab, 1)
    batch = a_weighed_batch(lab, submission)
    expired(lab, who, "L-2201")
    return measure(lab, submission, batch)


def allowed_a_reference_material(lab: Laboratory, who: Person) -> Submission:
    expired(lab, who, "L-2400")
    submission = a_submission(lab, 1)
    return measure(lab, submission, a_weighed_batch(lab, submission))


def allowed_a_flux(lab: Laboratory, who: Person) -> Submission:
    return fired(lab, lab.people["preparer"], lambda: expired(lab, who, "L-FLUX"))


TAKING_PART: list[tuple[Callable[[Laboratory, Person], Submission], str]] = [
    (began_the_batch, "batch B26-0001"),
    (weighed, "weighing KF26-00001"),
    (weighed_the_duplicate, "weighing "),
    (discarded_a_portion, "discarding KF26-00001"),
    (added_reagents, "the reagents of batch B26-0001"),
    (dried, "drying KF26-00001"),
    (fired, "firing KF26-00001"),
    (planned, "planning R26-0001"),
    (loaded, "loading R26-0001.csv"),
    (evaluated, "evaluating R26-0001"),
    (evaluated_it_first, "evaluating R26-0001"),
    (chose, "choosing"),
    (accepted, "accepting CCV 1"),
    (let_a_repeat_stand, "letting KF26-00001 stand"),
    (allowed_a_balance, "allowing B2"),
    (allowed_a_standard, "allowing L-2201"),
    (allowed_a_reference_material, "allowing L-2400"),
    (allowed_a_flux, "allowing L-FLUX"),
]


@pytest.mark.parametrize(("take_part", "says"), TAKING_PART, ids=[one.__name__ for one, _ in TAKING_PART])
def test_whoever_took_part_in_any_way_does_not_approve(
    take_part: Callable[[Laboratory, Person], Submission], says: str, lab: Laboratory
) -> None:
    # given somebody who may do everything, and did one thing for these results
    who = may_do_everything(lab)
    submission = take_part(lab, who)
    # when they would approve, it is refused, and says why
    with pytest.raises(NotAuthorised, match=says):
        approve(lab, submission, who)
    assert not Review.objects.exists()
    # a named policy lets a small laboratory go on, with a reason
    LaboratoryRow.objects.update(separation_exception="Three people only, policy Q-7")
    assert approve(lab, submission, who, reason="alone on site").exception == "Three people only, policy Q-7"


def test_whoever_did_nothing_of_it_approves(lab: Laboratory) -> None:
    who = may_do_everything(lab)
    submission = a_submission(lab, 1)
    an_evaluated_run(lab, submission)
    assert approve(lab, submission, who).exception == ""


def test_whoever_allowed_what_these_results_do_not_stand_on_approves(lab: Laboratory) -> None:
    """Another lot of the same day, and the same balance on a day on which nothing of them was weighed."""
    who = may_do_everything(lab)
    submission = a_submission(lab, 1)
    an_evaluated_run(lab, submission)
    quality = lab.people["quality manager"]
    acid = register_material(by=quality, at=lab.later(), code="HCL", name="acid", kind=MaterialKind.REAGENT)
    register_lot(
        by=quality, at=lab.later(), number="L-HCL", material=acid, received_on=date(2026, 1, 5),
        expires_on=date(2026, 6, 5),
    )  # fmt: skip
    expired(lab, who, "L-HCL")
    record_equipment_check(
        by=quality, at=lab.later(), equipment=lab.balance, done_on=date(2026, 11, 10), due_on=date(2026, 11, 15),
        what="calibration", passed=True,
    )  # fmt: skip
    allow_override(
        by=who, at=lab.later() + timedelta(days=1), reason="weighed a known mass",
        kind=OverrideKind.OVERDUE_EQUIPMENT, equipment=lab.balance,
    )  # fmt: skip
    assert approve(lab, submission, who).exception == ""


# ---- exactly the values that were shown


def test_a_review_keeps_the_digest_of_the_exact_values(lab: Laboratory, measured: Submission) -> None:
    rows = list(Result.objects.filter(pk__in=waiting_for_review(measured)))
    review = approve(lab, measured, seen_sha256=shown_digest(rows, {}))
    assert review.values_sha256 == values_digest(reversed(rows))


@pytest.mark.parametrize(
    ("column", "value"),
    [("value", 1.0), ("unit", "g/t"), ("basis", "dry basis"), ("detection_limit", 0.5), ("expanded_u", 9.0),
     ("upper_limit", 7.0), ("reporting_limit", 2.0), ("quantification_limit", 3.0)],
)  # fmt: skip
def test_a_value_that_was_changed_is_another_digest_and_is_not_signed(
    lab: Laboratory, measured: Submission, column: str, value: object
) -> None:
    # given what somebody was shown, and a value that the owner of the database changed behind the program
    rows = list(Result.objects.filter(pk__in=waiting_for_review(measured)))
    shown, signed = shown_digest(rows, {}), values_digest(rows)
    guards.remove(connection)
    Result.objects.filter(pk=rows[0].pk).update(**{column: value})
    # then it is another digest, and the signature is refused
    assert values_digest(Result.objects.filter(pk__in=[row.pk for row in rows])) != signed
    with pytest.raises(WrongState, match="not the values that were shown"):
        approve(lab, measured, seen_sha256=shown)


def test_another_set_than_was_shown_is_not_signed(lab: Laboratory, measured: Submission) -> None:
    rows = list(Result.objects.filter(pk__in=waiting_for_review(measured)))
    with pytest.raises(WrongState, match="not the values that were shown"):
        approve(lab, measured, results=[rows[0].pk], seen_sha256=shown_digest(rows, {}))


# ---- one signature for all that was decided


def test_one_signature_approves_refuses_and_sends_back_or_does_nothing(lab: Laboratory) -> None:
    submission = a_submission(lab, 3)
    an_evaluated_run(lab, submission)
    first, second, third, *rest = waiting_for_review(submission)
    turned = [
        TurnedDown([first], Decision.REFUSE, "spilled"),
        TurnedDown([second], Decision.SEND_BACK, "read again", Station.RUNS),
        TurnedDown([third], Decision.SEND_BACK, "digest again", Station.PREPARATION),
    ]
    by, events = lab.people["reviewer"], AuditEvent.objects.count()
    wrong = [*turned[:2], TurnedDown([third], Decision.SEND_BACK, " ")]
    with pytest.raises(BadInput, match="needs a reason"):
        sign_review(by=by, at=lab.later(), results=rest, turned_down=wrong, password=PASSWORD)
    with pytest.raises(BadInput, match="one thing"):
        sign_review(by=by, at=lab.later(), results=[first, *rest], turned_down=turned, password=PASSWORD)
    assert (Review.objects.count(), AuditEvent.objects.count()) == (0, events)

    done = sign_review(by=by, at=lab.later(), results=rest, turned_down=turned, password=PASSWORD)
    assert [(review.decision, review.sent_to, review.items.count()) for review in done] == [
        ("approved", "", 3), ("refused", "", 1), ("sent back", "runs", 1), ("sent back", "preparation", 1)
    ]  # fmt: skip
    assert AuditEvent.objects.count() == events + 1
    assert waiting_for_review(submission) == []


def test_results_go_back_to_runs_or_to_preparation_only(lab: Laboratory, measured: Submission) -> None:
    given = {"results": waiting_for_review(measured), "password": PASSWORD, "by": lab.people["reviewer"]}
    with pytest.raises(BadInput, match="to Runs or to Preparation"):
        send_back_results(at=lab.later(), reason="look", to=Station.RECEPTION, **given)  # type: ignore[arg-type]


def test_a_sent_back_result_gives_way_to_the_next_valid_one(lab: Laboratory, measured: Submission) -> None:
    waiting = waiting_for_review(measured)
    send_back_results(
        by=lab.people["reviewer"], at=lab.later(), reason="read again", results=waiting, password=PASSWORD
    )
    measure(lab, measured, PreparationBatch.objects.get(), factors={("KF26-00001", "Cu"): 1.01})
    assert set(waiting_for_review(measured)).isdisjoint(waiting)
    assert len(waiting_for_review(measured)) == len(waiting)


# ---- the second factor

RFC_SECRET = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"
"""RFC 6238, appendix B: the ASCII text 12345678901234567890, in base 32."""


@pytest.mark.parametrize(
    ("seconds", "code"),
    [(59, "287082"), (1111111109, "081804"), (1111111111, "050471"), (1234567890, "005924"), (2000000000, "279037"),
     (20000000000, "353130")],
)  # fmt: skip
def test_codes_are_those_of_the_standard(seconds: int, code: str) -> None:
    """RFC 6238 (2011), appendix B, SHA-1: the last six of the eight digits printed there."""
    at = datetime.fromtimestamp(seconds, UTC)
    assert step_of(RFC_SECRET, code, at) == seconds // 30
    assert step_of(RFC_SECRET, f"{code[:3]} {code[3:]}", at + timedelta(seconds=30)) == seconds // 30
    assert step_of(RFC_SECRET, code, at - timedelta(seconds=30)) == seconds // 30
    for away in (-61, 61):
        assert step_of(RFC_SECRET, code, at + timedelta(seconds=away)) != seconds // 30


def test_a_signature_asks_for_the_code_where_the_factor_is_on(lab: Laboratory, measured: Submission) -> None:
    a_second_factor(lab, "reviewer")
    at = lab.later()
    for code in ("", "000000", a_code(at - timedelta(minutes=5))):
        with pytest.raises(NotAuthorised, match="six digits"):
            approve(lab, measured, at=at, code=code)
    assert not Review.objects.exists()
    assert approve(lab, measured, at=at, code=a_code(at)).second_factor


def test_a_code_is_taken_once_and_no_older_one_after_it(lab: Laboratory) -> None:
    submission = a_submission(lab, 3)
    an_evaluated_run(lab, submission)
    a_second_factor(lab, "reviewer")
    by, at, waiting = lab.people["reviewer"], lab.later(), waiting_for_review(submission)
    given = {"by": by, "at": at, "reason": "wet", "password": PASSWORD}
    refuse_results(results=waiting[:1], code=a_code(at), **given)  # type: ignore[arg-type]
    for code in (a_code(at), a_code(at - timedelta(seconds=30))):
        with pytest.raises(NotAuthorised, match="used already"):
            refuse_results(results=waiting[1:2], code=code, **given)  # type: ignore[arg-type]
    refuse_results(results=waiting[1:2], code=a_code(at + timedelta(seconds=30)), **given)  # type: ignore[arg-type]
    assert UsedCode.objects.count() == 3  # one of them when it was turned on


def test_a_refused_signature_does_not_use_the_code_up(lab: Laboratory, measured: Submission) -> None:
    a_second_factor(lab, "reviewer")
    at = lab.later()
    with pytest.raises(BadInput):
        refuse_results(
            by=lab.people["reviewer"], at=at, results=waiting_for_review(measured), password=PASSWORD, code=a_code(at)
        )
    assert approve(lab, measured, at=at, code=a_code(at)).second_factor


def test_it_is_turned_on_by_a_code_and_off_with_password_and_reason(lab: Laboratory, measured: Submission) -> None:
    by, at = lab.people["reviewer"], lab.later()
    with pytest.raises(BadInput, match="clock of the device"):
        turn_on_second_factor(by=by, at=at, secret=SECRET, code="000000")
    turn_on_second_factor(by=by, at=at, secret=SECRET, code=a_code(at))
    with pytest.raises(WrongState, match="on already"):
        turn_on_second_factor(by=by, at=at, secret=SECRET, code=a_code(at))
    assert SECRET not in " ".join(AuditEvent.objects.values_list("content", flat=True))
    for given, refusal in (
        ({"reason": "", "password": PASSWORD}, BadInput), ({"reason": "lost", "password": "guess"}, NotAuthorised)
    ):  # fmt: skip
        with pytest.raises(refusal):
            turn_off_second_factor(by=by, at=at, **given)
    turn_off_second_factor(by=by, at=at, reason="a new telephone", password=PASSWORD)
    assert not approve(lab, measured).second_factor
    with pytest.raises(WrongState):
        sign_in_with_code(by=by, at=at, code=a_code(at))


def test_a_manager_turns_off_that_of_somebody_who_lost_the_device_and_nobody_else_does(lab: Laboratory) -> None:
    a_second_factor(lab, "reviewer")
    given = {"reason": "lost at sea", "password": PASSWORD, "person": lab.people["reviewer"]}
    with pytest.raises(NotAuthorised, match="Only a laboratory manager"):
        turn_off_second_factor(by=lab.people["analyst"], at=lab.later(), **given)  # type: ignore[arg-type]
    turn_off_second_factor(by=lab.people["laboratory manager"], at=lab.later(), **given)  # type: ignore[arg-type]
    assert SecondFactor.objects.filter(end=None).count() == 0
