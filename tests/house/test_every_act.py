"""Every public action is found by introspection, does its work once here, and leaves exactly one event."""

import inspect
import pkgutil
from collections.abc import Callable, Iterator
from datetime import date
from importlib import import_module
from pathlib import Path
from tempfile import TemporaryDirectory
from types import ModuleType
from typing import Any

import pytest

import labresults.actions
import reports.actions
from labresults.actions import (
    access,
    attachments,
    batches,
    calendar,
    comments,
    corrections,
    custody,
    delivery,
    derived,
    estimates,
    evaluation,
    fire,
    given_passwords,
    holding,
    limits,
    mass_losses,
    materials,
    methods,
    nonconforming,
    opinions,
    overrides,
    people,
    plausibility,
    readings,
    requests,
    review,
    revisions,
    runs,
    samples,
    sampling,
    scope,
    second_factor,
    signatures,
    weighings,
)
from labresults.acts import ACTS
from labresults.models import AuditEvent, Lot, Matrix, Person, Result
from labresults.queries.forward import Doubt
from labresults.queries.history import broken_link
from labresults.queries.results import waiting_for_review
from labresults.readers.delivery import DeliveredSample
from labresults.terms import (
    Basis,
    Custody,
    DayPart,
    DerivedForm,
    DoubtKind,
    EquipmentKind,
    LimitProcedure,
    LimitQuantity,
    MassLossKind,
    MaterialKind,
    NonconformingAct,
    NoticeKind,
    NotMeasured,
    OverrideKind,
    PlausibilityKind,
    Task,
)
from reports.actions import certificates, fetches, notices, rule_sets, signing
from reports.actions import delivery as deliveries
from reports.delivery import DeliveryLayout
from reports.models import SigningCertificate
from reports.queries.recipients import Addressee
from reports.rules.ruleset import RuleSet
from reports.signing.keys import make_key
from tests.builders import (
    LONG,
    NOW,
    PASSWORD,
    PHOTOGRAPH,
    SECRET,
    Laboratory,
    a_certificate,
    a_code,
    a_method,
    a_reader,
    a_reading_file,
    a_run,
    a_run_with_copper_alone,
    a_second_factor,
    a_submission,
    a_token,
    a_weighed_batch,
    an_evaluated_run,
    an_imported_file,
    approved,
)

NOT_ACTS = {
    "compute": "evaluates without storing",
    "compute_again": "evaluates without storing",
    "store": "part of an act, under its lock",
    "rows_of": "what `store` keeps, for the proof that computes it again",
    "next_number": "part of acts, under their lock",
    "next_sample_numbers": "part of acts, under their lock",
    "accept_concerns": "part of acts, under their lock",
    "asked_said": "part of what an event says",
    "carry_concerns": "part of acts, under their lock",
    "concerns_said": "part of what an event says",
    "enter_concerns": "part of acts, under their lock",
    "enter_request": "part of acts, under their lock",
    "enter_samples": "part of acts, under their lock",
    "confirm_signature": "part of acts that sign, under their lock",
    "confirm_password": "part of acts that ask for it again, under their lock",
    "end_factor": "part of acts that turn a second factor off, under their lock",
    "limit": "says what is counted, writes nothing",
    "when": "says a time, writes nothing",
    "count_try": "counts a try for a day, which must stand where an act is undone",
    "give_try_back": "as count_try",
    "forget_tries": "as count_try",
    "counted_signature": "stands around acts: counts, and notes failures by an act",
    "counted_code": "as counted_signature",
    "enter_lines": "part of the acts that issue, under their lock",
    "with_rows": "part of acts, under their lock",
    "registered_key": "opens the key, writes nothing",
    "signed": "signs a file, writes nothing",
}
"""Public functions in actions/ that write nothing by themselves, each with what it is."""


def public_functions() -> Iterator[tuple[str, Callable[..., Any]]]:
    """Every public function defined in a module of actions."""
    for package in (labresults.actions, reports.actions):
        for found in pkgutil.iter_modules(package.__path__):
            module: ModuleType = import_module(f"{package.__name__}.{found.name}")
            for name, function in inspect.getmembers(module, inspect.isfunction):
                if function.__module__ == module.__name__ and not name.startswith("_"):
                    yield name, function


def test_every_public_function_of_actions_is_an_act() -> None:
    found = dict(public_functions())
    assert {name for name in found if name not in NOT_ACTS} == set(ACTS)
    assert all(found[name] is ACTS[name] for name in ACTS)


def _a_set_of(submission: Any) -> Callable[..., Any]:
    members = [(sample, 2.5) for sample in submission.samples.order_by("ordinal")]
    return lambda **who: derived.define_sample_set(submission=submission, name="112 to 115 m", members=members, **who)


def ready(lab: Laboratory) -> Any:
    submission = a_submission(lab)
    an_evaluated_run(lab, submission)
    return approved(lab, submission)


def measured(lab: Laboratory) -> Any:
    submission = a_submission(lab)
    an_evaluated_run(lab, submission)
    return submission


def _receive(lab: Laboratory) -> Callable[..., Any]:
    rows = [DeliveredSample(1, "a", "soil")]
    return lambda **who: delivery.receive_samples(client=lab.client, rows=rows, methods=[lab.method], **who)


def _change(lab: Laboratory) -> Callable[..., Any]:
    submission = a_submission(lab)
    return lambda **who: requests.change_request(
        submission=submission, methods=[lab.method], basis=Basis.DRY, due_on=date(2026, 12, 1), agreed_with="A", **who
    )


def _not_measured(lab: Laboratory) -> Callable[..., Any]:
    sample = a_submission(lab).samples.first()
    return lambda **who: samples.state_not_measured(sample=sample, method=lab.method, word=NotMeasured.DESTROYED, **who)


def _of_a_submission(lab: Laboratory, act: Callable[..., Any], **named: object) -> Callable[..., Any]:
    submission = a_submission(lab)
    return lambda **who: act(submission=submission, **named, **who)


def _opinion(lab: Laboratory) -> Callable[..., Any]:
    people.authorise_person(
        by=lab.people["quality manager"], at=lab.later(), person=lab.people["reviewer"], task=Task.OPINE,
        valid_from=date(2026, 1, 1),
    )  # fmt: skip
    return _of_a_submission(lab, opinions.state_opinion, text="Copper of the wall rock.", basis="the results")


def _coefficients(lab: Laboratory) -> Callable[..., Any]:
    evaluation = a_run_with_copper_alone(lab)
    return lambda **who: estimates.determine_interferences(evaluation=evaluation, **who)


def _add(lab: Laboratory) -> Callable[..., Any]:
    submission, row = a_submission(lab), DeliveredSample(1, "late", "soil")
    return lambda **who: corrections.add_sample(submission=submission, row=row, **who)


def _of_a_sample(act: Callable[..., Any], **more: Any) -> Callable[[Laboratory], Callable[..., Any]]:
    def prepare(lab: Laboratory) -> Callable[..., Any]:
        sample = a_submission(lab).samples.first()
        return lambda **who: act(sample=sample, **more, **who)

    return prepare


def _move(lab: Laboratory) -> Callable[..., Any]:
    sample, to = a_submission(lab, names=["a"]).samples.first(), a_submission(lab, names=["b"])
    return lambda **who: corrections.move_sample(sample=sample, to=to, **who)


def _custody(lab: Laboratory) -> Callable[..., Any]:
    delivered = list(a_submission(lab).samples.all())
    return lambda by, **who: custody.record_custody(
        samples=delivered, what=Custody.MOVED, held_by=by, place="store 2", by=by, **who
    )


def _attach(lab: Laboratory) -> Callable[..., Any]:
    submission = a_submission(lab)
    return lambda **who: attachments.attach_file(submission=submission, name="bag.png", content=PHOTOGRAPH, **who)


def _begin(lab: Laboratory) -> Callable[..., Any]:
    delivered = list(a_submission(lab).samples.all())
    return lambda **who: batches.begin_batch(method_version=lab.version, samples=delivered, caution_read=True, **who)


def _weigh(lab: Laboratory) -> Callable[..., Any]:
    batch = a_weighed_batch(lab, a_submission(lab))
    row = weighings.Weighed("KF26-00001", 0.51, 50.0, reason="misread")
    return lambda **who: weighings.record_weighings(batch=batch, rows=[row], **who)


def _override(lab: Laboratory) -> Callable[..., Any]:
    materials.record_equipment_check(
        by=lab.people["quality manager"], at=lab.later(), equipment=lab.balance, done_on=NOW.date(), due_on=NOW.date(),
        what="weight W4", passed=False,
    )  # fmt: skip
    return lambda **who: overrides.allow_override(kind=OverrideKind.OVERDUE_EQUIPMENT, equipment=lab.balance, **who)


def _add_reagents(lab: Laboratory) -> Callable[..., Any]:
    batch = a_weighed_batch(lab, a_submission(lab))
    lot = Lot.objects.get(number="L-2300")
    return lambda **who: batches.add_reagents(batch=batch, lots=[lot], **who)


def _dishes(lab: Laboratory) -> Callable[..., Any]:
    number = a_submission(lab, 1).samples.get().number
    rows = [mass_losses.Heated(number, 21.4382, 26.6127, 22.7794)]
    return lambda **who: mass_losses.record_mass_losses(
        kind=MassLossKind.MOISTURE, rows=rows, temperature_C=105.0, balance=lab.balance, **who
    )


def _crucibles(lab: Laboratory) -> Callable[..., Any]:
    batch = a_weighed_batch(lab, a_submission(lab, 1))
    rows = [fire.Fired("KF26-00001", 1, flux_g=120.0)]
    flux = Lot.objects.get(number="L-2300")
    return lambda **who: fire.record_fire_charges(batch=batch, rows=rows, tray="T1", flux_lot=flux, **who)


def _discard(lab: Laboratory) -> Callable[..., Any]:
    portion = a_weighed_batch(lab, a_submission(lab)).portions.first()
    return lambda **who: batches.discard_portion(portion=portion, **who)


def _plan(lab: Laboratory) -> Callable[..., Any]:
    portions = list(a_weighed_batch(lab, a_submission(lab)).portions.order_by("tube"))
    return lambda **who: runs.plan_run(
        method_version=lab.version, portions=portions, instrument=lab.spectrometer, **who
    )


def _import(lab: Laboratory) -> Callable[..., Any]:
    run = a_run(lab, a_weighed_batch(lab, a_submission(lab)))
    return lambda **who: readings.import_readings(
        run=run, content=a_reading_file(run), filename="n.csv", layout=lab.layout, **who
    )


def _end_access(lab: Laboratory) -> Callable[..., Any]:
    token = a_token(lab)
    return lambda **who: access.end_access_token(token=token, **who)


def _evaluate(lab: Laboratory) -> Callable[..., Any]:
    run = a_run(lab, a_weighed_batch(lab, a_submission(lab)))
    an_imported_file(lab, run)
    return lambda **who: evaluation.evaluate_run(run=run, **who)


def _accept(lab: Laboratory) -> Callable[..., Any]:
    failed = an_evaluated_run(lab, a_submission(lab), factors={("CCV 1", "Pb"): 1.2}).outcomes.filter(verdict="outside")
    return lambda **who: evaluation.accept_control(outcomes=list(failed), **who)


def _let_stand(lab: Laboratory) -> Callable[..., Any]:
    evaluated = an_evaluated_run(lab, a_submission(lab), factors={("CCV 1", "Pb"): 1.2})
    number, line, *_ = evaluated.repeats[0]
    place = evaluated.run.positions.get(number=number), line
    return lambda **who: evaluation.let_stand(places=[place], **who)


def _select(lab: Laboratory) -> Callable[..., Any]:
    result = an_evaluated_run(lab, a_submission(lab)).results.filter(is_candidate=True).first()
    return lambda **who: evaluation.select_result(result=result, **who)


def _review(act: Callable[..., Any]) -> Callable[[Laboratory], Callable[..., Any]]:
    def prepare(lab: Laboratory) -> Callable[..., Any]:
        waiting = waiting_for_review(measured(lab))
        return lambda **who: act(results=waiting, password=PASSWORD, **who)

    return prepare


def _comment(lab: Laboratory) -> Callable[..., Any]:
    result = Result.objects.get(pk=waiting_for_review(measured(lab))[0])
    return lambda **who: comments.comment_result(result=result, text="the pulp looked wet", **who)


def _turn_on(lab: Laboratory) -> Callable[..., Any]:
    return lambda **who: second_factor.turn_on_second_factor(secret=SECRET, code=a_code(who["at"]), **who)


def _turn_off(lab: Laboratory) -> Callable[..., Any]:
    a_second_factor(lab, "auditor")
    return lambda **who: second_factor.turn_off_second_factor(
        password=PASSWORD, **(who | {"reason": who.get("reason") or "a new telephone"})
    )


def _sign_in_with_code(lab: Laboratory) -> Callable[..., Any]:
    a_second_factor(lab, "auditor")
    return lambda **who: second_factor.sign_in_with_code(code=a_code(who["at"]), **who)


def _recovery_codes(lab: Laboratory) -> Callable[..., Any]:
    a_second_factor(lab, "auditor")
    return lambda **who: second_factor.make_recovery_codes(password=PASSWORD, **who)


def _plausibility(lab: Laboratory) -> Callable[..., Any]:
    rule = {"name": "one, by two", "kind": PlausibilityKind.SAME_BY_TWO, "source": "common practice, no source"}
    return lambda **who: plausibility.register_plausibility(**rule, **who)


def _issue(lab: Laboratory) -> Callable[..., Any]:
    submission = ready(lab)
    return lambda **who: certificates.issue_certificate(submission=submission, rule_set=lab.rule_set, **who)


def _on_certificate(
    act: Callable[..., Any], draw: bool = False, **more: Any
) -> Callable[[Laboratory], Callable[..., Any]]:
    def prepare(lab: Laboratory) -> Callable[..., Any]:
        certificate = a_certificate(lab, ready(lab), draw=draw)
        rules = {"rule_set": lab.rule_set} if more.get("rules") else {}
        return lambda **who: act(certificate=certificate, **rules, **who)

    return prepare


def _tell(lab: Laboratory) -> Callable[..., Any]:
    certificate = a_certificate(lab, ready(lab))
    to = [Addressee("Oda Brennan", "brennan@ridge.example")]
    return lambda **who: notices.notify_client(certificate=certificate, kind=NoticeKind.ISSUED, to=to, **who)


def _fetch(lab: Laboratory) -> Callable[..., Any]:
    certificate = a_certificate(lab, ready(lab))
    lab.people["client"] = a_reader(lab)
    return lambda **who: fetches.record_fetch(certificate=certificate, kind="pdf", **who)


def _open_case(lab: Laboratory) -> Callable[..., Any]:
    measured(lab)
    doubt = Doubt(DoubtKind.LOT, "L-2200")
    return lambda **who: nonconforming.open_nonconforming_work(doubt=doubt, what="wrong", effect="too low", **who)


def _step(lab: Laboratory) -> Callable[..., Any]:
    work = _open_case(lab)(by=lab.people["quality manager"], at=lab.later(), reason="")
    return lambda **who: nonconforming.record_nonconforming_step(
        work=work, step=NonconformingAct.RELEASE, text="within U", **who
    )


def _method(lab: Laboratory) -> Callable[..., Any]:
    return lambda by, at, reason: a_method(by, "XX-1")


def _material(lab: Laboratory) -> Any:
    return lab.version.standards.first().material


def _register_key(lab: Laboratory) -> Any:
    with TemporaryDirectory() as folder:
        half = make_key(Path(folder), laboratory="Kestrel Flat Laboratory", at=NOW)
    return lambda **who: signing.register_signing_certificate(half=half, **who)


def _end_key(lab: Laboratory) -> Any:
    return lambda **who: signing.end_signing_certificate(certificate=SigningCertificate.objects.get(), **who)


EXAMPLES: dict[str, tuple[str, Callable[[Laboratory], Callable[..., Any]]]] = {
    "enrol_person": (
        "laboratory manager",
        lambda lab: (
            lambda **who: people.enrol_person(
                sign_in="new", full_name="New Person", password=PASSWORD, roles=["analyst"], **who
            )
        ),
    ),
    "authorise_person": (
        "quality manager",
        lambda lab: (
            lambda **who: people.authorise_person(
                person=lab.people["analyst"], task=Task.REVIEW, valid_from=date(2026, 1, 1), **who
            )
        ),
    ),
    "record_mass_losses": ("preparer", _dishes),
    "estimate_limit": (
        "quality manager",
        lambda lab: (
            lambda **who: estimates.estimate_limit(
                version=lab.version,
                line=lab.version.lines.first().line,
                procedure=LimitProcedure.BY_HAND,
                by_hand={LimitQuantity.DETECTION: 0.02},
                **who,
            )
        ),
    ),
    "determine_interferences": ("quality manager", _coefficients),
    "revise_method_version": (
        "quality manager",
        lambda lab: (
            lambda **who: revisions.revise_method_version(
                version=lab.version, valid_from=date(2026, 12, 1), version_changes={"coverage_factor": 3.0}, **who
            )
        ),
    ),
    "record_fire_charges": ("preparer", _crucibles),
    "mark_calendar_day": (
        "laboratory manager",
        lambda lab: (
            lambda **who: calendar.mark_calendar_day(
                day=date(2026, 11, 30), part=DayPart.CLOSED, name="Founders’ day", **who
            )
        ),
    ),
    "set_working_week": (
        "laboratory manager",
        lambda lab: lambda **who: calendar.set_working_week(week=[DayPart.OPEN] * 6 + [DayPart.CLOSED], **who),
    ),
    "register_client": ("reception", lambda lab: lambda **who: samples.register_client(code="n", name="New", **who)),
    "register_matrices": (
        "quality manager",
        lambda lab: lambda **who: samples.register_matrices(area="waters", names=["water"], **who),
    ),
    "register_limits": (
        "quality manager",
        lambda lab: (
            lambda **who: limits.register_limits(
                name="L", edition="1", source="the client", limits=[("Pb", 100.0, "mg/kg")], **who
            )
        ),
    ),
    "receive_samples": ("reception", _receive),
    "change_request": ("reception", _change),
    "remember_request": (
        "reception",
        lambda lab: lambda **who: delivery.remember_request(client=lab.client, methods=[lab.method], **who),
    ),
    "define_derived": (
        "quality manager",
        lambda lab: (
            lambda **who: derived.define_derived(
                code="metals",
                name="Copper and lead",
                reported_as="Cu + Pb",
                unit="mg/kg",
                form=DerivedForm.SUM,
                terms=[{"element": "Cu", "unit": "mg/kg"}, {"element": "Pb", "unit": "mg/kg"}],
                source="arithmetic",
                **who,
            )
        ),
    ),
    "define_sample_set": ("reception", lambda lab: _a_set_of(a_submission(lab))),
    "register_holding_time": (
        "quality manager",
        lambda lab: (
            lambda **who: holding.register_holding_time(
                matrix=Matrix.objects.get(name="soil"), hours=672.0, source="common practice, no source", **who
            )
        ),
    ),
    "record_sampling": (
        "reception",
        lambda lab: _of_a_submission(
            lab, sampling.record_sampling, sampled_by="Ruben Marlow", place="bench 4", plan="channel samples"
        ),
    ),
    "state_opinion": ("reviewer", _opinion),
    "register_scope": (
        "quality manager",
        lambda lab: (
            lambda **who: scope.register_scope(
                method=lab.method,
                rows=[scope.ScopeRow("Cu", "soil", 5.0, 5000.0, "mg/kg")],
                valid_from=date(2026, 1, 1),
                **who,
            )
        ),
    ),
    "choose_rule_set": (
        "issuer",
        lambda lab: lambda **who: rule_sets.choose_rule_set(name=lab.rule_set.name, client=lab.client, **who),
    ),
    "state_not_measured": ("preparer", _not_measured),
    "add_sample": ("reception", _add),
    "strike_sample": ("reception", _of_a_sample(corrections.strike_sample)),
    "correct_identification": ("reception", _of_a_sample(corrections.correct_identification, to="corrected")),
    "move_sample": ("reception", _move),
    "record_custody": ("laboratory manager", _custody),
    "attach_file": ("preparer", _attach),
    "register_material": (
        "quality manager",
        lambda lab: lambda **who: materials.register_material(code="N", name="new", kind=MaterialKind.REAGENT, **who),
    ),
    "register_lot": (
        "quality manager",
        lambda lab: (
            lambda **who: materials.register_lot(
                number="L-1", material=_material(lab), received_on=date(2026, 1, 1), expires_on=date(2027, 1, 1), **who
            )
        ),
    ),
    "register_equipment": (
        "quality manager",
        lambda lab: (
            lambda **who: materials.register_equipment(code="B9", name="balance", kind=EquipmentKind.BALANCE, **who)
        ),
    ),
    "record_equipment_check": (
        "quality manager",
        lambda lab: (
            lambda **who: materials.record_equipment_check(
                equipment=lab.balance, done_on=date(2026, 1, 1), due_on=date(2027, 1, 1), what="x", passed=True, **who
            )
        ),
    ),
    "add_method_version": ("quality manager", _method),
    "open_nonconforming_work": ("quality manager", _open_case),
    "record_nonconforming_step": ("quality manager", _step),
    "save_layout": ("analyst", lambda lab: lambda **who: methods.save_layout(specification=LONG, **who)),
    "begin_batch": ("preparer", _begin),
    "record_weighings": ("preparer", _weigh),
    "add_reagents": ("preparer", _add_reagents),
    "discard_portion": ("preparer", _discard),
    "allow_override": ("quality manager", _override),
    "plan_run": ("analyst", _plan),
    "import_readings": ("analyst", _import),
    "issue_access_token": (
        "analyst",
        lambda lab: lambda **who: access.issue_access_token(name="P1", expires_on=date(2026, 12, 31), **who),
    ),
    "end_access_token": ("laboratory manager", _end_access),
    "evaluate_run": ("analyst", _evaluate),
    "accept_control": ("analyst", _accept),
    "let_stand": ("analyst", _let_stand),
    "select_result": ("analyst", _select),
    "approve_results": ("reviewer", _review(review.approve_results)),
    "refuse_results": ("reviewer", _review(review.refuse_results)),
    "send_back_results": ("reviewer", _review(review.send_back_results)),
    "sign_review": ("reviewer", _review(review.sign_review)),
    "comment_result": ("reviewer", _comment),
    "turn_on_second_factor": ("auditor", _turn_on),
    "turn_off_second_factor": ("auditor", _turn_off),
    "sign_in_with_code": ("auditor", _sign_in_with_code),
    "make_recovery_codes": ("auditor", _recovery_codes),
    "note_failed_signature": (
        "auditor",
        lambda lab: lambda **who: signatures.note_failed_signature(asked="sign_review", wrong="password", **who),
    ),
    "give_new_password": (
        "laboratory manager",
        lambda lab: (
            lambda **who: given_passwords.give_new_password(
                person=lab.people["analyst"], password=PASSWORD, **(who | {"reason": who.get("reason") or "forgot it"})
            )
        ),
    ),
    "change_password": (
        "auditor",
        lambda lab: lambda **who: people.change_password(password=PASSWORD, new_password="another road 1912", **who),
    ),
    "register_plausibility": ("quality manager", _plausibility),
    "save_rule_set": (
        "quality manager",
        lambda lab: lambda **who: rule_sets.save_rule_set(rule_set=RuleSet("R9", 1), **who),
    ),
    "issue_certificate": ("issuer", _issue),
    "publish_certificate": ("issuer", _on_certificate(certificates.publish_certificate)),
    "amend_certificate": ("issuer", _on_certificate(certificates.amend_certificate, rules=True)),
    "save_delivery_layout": (
        "issuer",
        lambda lab: (
            lambda **who: deliveries.save_delivery_layout(client=lab.client, layout=DeliveryLayout("theirs"), **who)
        ),
    ),
    "register_recipient": (
        "reception",
        lambda lab: (
            lambda **who: deliveries.register_recipient(
                client=lab.client, name="Ada Pell", email="pell@ridge.example", **who
            )
        ),
    ),
    "register_signing_certificate": ("laboratory manager", _register_key),
    "end_signing_certificate": ("laboratory manager", _end_key),
    "withdraw_certificate": ("issuer", _on_certificate(certificates.withdraw_certificate)),
    "notify_client": ("issuer", _tell),
    "record_fetch": ("client", _fetch),
}
"""For each act who does it, and what makes the call ready to be done."""


def test_every_act_but_the_founding_has_an_example() -> None:
    assert set(EXAMPLES) == set(ACTS) - {"found_laboratory"}


@pytest.mark.parametrize("name", sorted(EXAMPLES))
def test_an_act_leaves_exactly_one_event(name: str, lab: Laboratory) -> None:
    role, prepare = EXAMPLES[name]
    act = prepare(lab)
    before = AuditEvent.objects.count()

    act(by=lab.people[role], at=lab.later(), reason="an example")

    assert AuditEvent.objects.count() == before + 1
    event = AuditEvent.objects.latest("seq")
    assert (event.act, event.person) == (name, lab.people[role])
    assert broken_link() is None


def test_the_founding_is_the_first_event(founder: Person) -> None:
    event = AuditEvent.objects.get()
    assert (event.seq, event.act, event.person, event.at) == (1, "found_laboratory", founder, NOW)


@pytest.mark.parametrize("name", sorted(EXAMPLES))
def test_an_act_by_somebody_without_the_role_leaves_nothing(name: str, lab: Laboratory) -> None:
    _, prepare = EXAMPLES[name]
    act = prepare(lab)
    before = AuditEvent.objects.count()
    lab.people["auditor"].groups.clear()  # some acts are everybody's who has a role
    nobody = Person.objects.get(pk=lab.people["auditor"].pk)
    with pytest.raises(labresults.acts.NotAuthorised):
        act(by=nobody, at=lab.later(), reason="an example")
    assert AuditEvent.objects.count() == before
