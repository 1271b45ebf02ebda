"""A laboratory that has lived: a row in every table of technical records, made through acts."""

from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

from labresults.actions.access import end_access_token
from labresults.actions.asking import AcceptedConcern
from labresults.actions.attachments import attach_file
from labresults.actions.batches import begin_batch, discard_portion
from labresults.actions.calendar import mark_calendar_day
from labresults.actions.comments import comment_result
from labresults.actions.corrections import correct_identification
from labresults.actions.delivery import receive_samples
from labresults.actions.derived import define_sample_set
from labresults.actions.estimates import determine_interferences, estimate_limit
from labresults.actions.evaluation import accept_control, let_stand
from labresults.actions.fire import Fired, record_fire_charges
from labresults.actions.holding import register_holding_time
from labresults.actions.limits import LimitRow, register_limits
from labresults.actions.mass_losses import Heated, record_mass_losses
from labresults.actions.materials import record_equipment_check, register_lot
from labresults.actions.methods import save_layout
from labresults.actions.nonconforming import open_nonconforming_work, record_nonconforming_step
from labresults.actions.opinions import state_opinion
from labresults.actions.overrides import allow_override
from labresults.actions.people import authorise_person
from labresults.actions.plausibility import register_plausibility
from labresults.actions.requests import change_request
from labresults.actions.runs import plan_run
from labresults.actions.samples import state_not_measured
from labresults.actions.sampling import record_sampling
from labresults.actions.scope import ScopeRow, register_scope
from labresults.actions.second_factor import make_recovery_codes, sign_in_with_code, turn_off_second_factor
from labresults.models import ControlOutcome, Evaluation, Lot, Matrix, PreparationBatch, Sample, Submission
from labresults.queries.forward import Doubt
from labresults.readers.delivery import DeliveredSample
from labresults.terms import (
    Basis,
    DayPart,
    DoubtKind,
    LimitProcedure,
    LimitQuantity,
    MassLossKind,
    NonconformingAct,
    NoticeKind,
    NotMeasured,
    OverrideKind,
    PlausibilityKind,
    Role,
    Task,
    Verdict,
)
from reports.actions.certificates import amend_certificate, issue_certificate, withdraw_certificate
from reports.actions.delivery import register_recipient, save_delivery_layout
from reports.actions.fetches import record_fetch
from reports.actions.notices import notify_client
from reports.actions.rule_sets import choose_rule_set
from reports.actions.signing import end_signing_certificate, register_signing_certificate
from reports.delivery import DeliveryLayout
from reports.models import Certificate
from reports.queries.recipients import Addressee
from reports.signing.keys import make_key
from tests.builders import (
    LONG,
    NOW,
    PASSWORD,
    PHOTOGRAPH,
    Laboratory,
    a_certificate,
    a_derived,
    a_grade,
    a_method,
    a_reader,
    a_run,
    a_run_with_copper_alone,
    a_second_factor,
    a_submission,
    a_token,
    a_weighed_batch,
    an_evaluated_run,
    approved,
)


def failed_controls(lab: Laboratory) -> list[ControlOutcome]:
    """Outcomes of a control sample that failed: the check at the start of a run reads copper a fifth too high."""
    evaluation = an_evaluated_run(lab, a_submission(lab, 2), factors={("ICV 1", "Cu"): 1.2})
    return list(evaluation.outcomes.filter(verdict=Verdict.OUTSIDE))


def a_lived_in_laboratory(lab: Laboratory) -> Certificate:
    """A delivery with an accepted failure, certified, amended and taken back; another given a result in words."""
    outcomes = failed_controls(lab)
    accept_control(by=lab.people["analyst"], at=lab.later(), reason="read again by hand", outcomes=outcomes)
    run = outcomes[0].evaluation.run
    number, line, *_ = outcomes[0].evaluation.repeats[0]
    let_stand(
        by=lab.people["analyst"], at=lab.later(), reason="accepted", places=[(run.positions.get(number=number), line)]
    )
    submission = run.positions.filter(portion__subsample__isnull=False)[0].portion.subsample.sample.submission
    _computed(lab, submission)
    _told(lab, submission)
    certificate = a_certificate(lab, approved(lab, submission))
    amended = amend_certificate(
        by=lab.people["issuer"],
        at=lab.later(),
        reason="wrong reference",
        certificate=certificate,
        rule_set=lab.rule_set,
        form_key=f"form of {lab.clock.isoformat()}",
    )
    withdraw_certificate(by=lab.people["issuer"], at=lab.later(), reason="wrong client", certificate=amended)
    _sent(lab, certificate)
    _together(lab)
    lost = a_submission(lab, 1).samples.get()
    _dried_and_fired(lab, submission.samples.first().number)
    _allowed(lab)
    spilled = begin_batch(
        by=lab.people["preparer"], at=lab.later(), method_version=lab.version, samples=[lost], caution_read=True
    )
    discard_portion(by=lab.people["preparer"], at=lab.later(), reason="spilled", portion=spilled.portions.first())
    state_not_measured(
        by=lab.people["reception"], at=lab.later(), reason="the bag was empty", sample=lost, method=lab.method,
        word=NotMeasured.NOT_RECEIVED,
    )  # fmt: skip
    correct_identification(
        by=lab.people["reception"], at=lab.later(), reason="misread", sample=lost, to="NRD014 112.5 m"
    )
    attach_file(
        by=lab.people["reception"], at=lab.later(), submission=lost.submission, name="bag.png", content=PHOTOGRAPH
    )
    mark_calendar_day(
        by=lab.people["quality manager"], at=lab.later(), day=date(2026, 11, 30), part=DayPart.CLOSED,
        name=f"said on {lab.clock:%d %B at %H:%M}",
    )  # fmt: skip
    _asked_alone(lab)
    _estimated(lab)
    _planned_anew(lab)
    _looked_at(lab, outcomes[0].evaluation)
    _found_wrong(lab, run.number)
    _agreed(lab)
    end_access_token(by=lab.people["analyst"], at=lab.later(), reason="the machine is sold", token=a_token(lab))
    return certificate


def _told(lab: Laboratory, submission: Submission) -> None:
    """How the laboratory took the samples, an opinion on one of them, the scope, and whose rules print it."""
    quality = lab.people["quality manager"]
    Sample.objects.filter(submission=submission).update(sampled_at=NOW)
    record_sampling(
        by=lab.people["reception"], at=lab.later(), submission=submission, sampled_by="Ruben Marlow",
        place="bench 4, drawing 4-12", plan="channel samples every 2 m",
    )  # fmt: skip
    authorise_person(
        by=quality, at=lab.later(), person=lab.people["reviewer"], task=Task.OPINE, valid_from=date(2026, 1, 1)
    )
    state_opinion(
        by=lab.people["reviewer"], at=lab.later(), submission=submission, sample=submission.samples.first(),
        text="Copper of the wall rock.", basis="the results and earlier ones",
    )  # fmt: skip
    if not lab.method.scope.exists():
        row = ScopeRow("Cu", "soil", 5.0, 5000.0, "mg/kg")
        register_scope(by=quality, at=lab.later(), method=lab.method, rows=[row], valid_from=date(2026, 1, 1))
    choose_rule_set(by=lab.people["issuer"], at=lab.later(), name=lab.rule_set.name, client=lab.client)


def _agreed(lab: Laboratory) -> None:
    """A layout and somebody to get it, agreed with the client; a key that was sold with its machine."""
    issuer, manager = lab.people["issuer"], lab.people["laboratory manager"]
    save_delivery_layout(by=issuer, at=lab.later(), client=lab.client, layout=DeliveryLayout("theirs"))
    register_recipient(by=issuer, at=lab.later(), client=lab.client, name="Ada Pell", email="pell@ridge.example")
    with TemporaryDirectory() as folder:
        half = make_key(Path(folder), laboratory="Kestrel Flat Laboratory", at=NOW)
    key = register_signing_certificate(by=manager, at=lab.later(), half=half)
    end_signing_certificate(by=manager, at=lab.later(), reason="sold with its machine", certificate=key)


def _sent(lab: Laboratory, certificate: Certificate) -> None:
    """A client that was told of its certificate and fetched it."""
    reader = a_reader(lab, sign_in=f"reader of {certificate.number}")
    to = [Addressee("Oda Brennan", "brennan@ridge.example")]
    notify_client(by=lab.people["issuer"], at=lab.later(), certificate=certificate, kind=NoticeKind.ISSUED, to=to)
    record_fetch(by=reader, at=lab.later(), certificate=certificate, kind="pdf")


def _together(lab: Laboratory) -> None:
    """One certificate of two submissions."""
    submissions = [a_submission(lab, 1), a_submission(lab, 1)]
    for submission in submissions:
        an_evaluated_run(lab, submission)
        approved(lab, submission)
    issue_certificate(
        by=lab.people["issuer"], at=lab.later(), submission=submissions[0], further=submissions[1:],
        rule_set=lab.rule_set, form_key=f"form of {lab.clock.isoformat()}",
    )  # fmt: skip


def _computed(lab: Laboratory, submission: Submission) -> None:
    """A sum that is asked for of each sample, and a mean over a set of them."""
    asked = [a_derived(lab), a_grade(lab)]
    compared = register_limits(
        by=lab.people["quality manager"], at=lab.later(), name="consent", edition=lab.clock.isoformat(),
        source="invented", limits=[("Pb", 250.0, "mg/kg"), LimitRow("", 500.0, "mg/kg", derived="metals")],
    )  # fmt: skip
    members = [(sample, 2.5) for sample in submission.samples.order_by("ordinal")]
    define_sample_set(
        by=lab.people["reception"], at=lab.later(), submission=submission, name="both", members=members
    )  # fmt: skip
    change_request(
        by=lab.people["reception"], at=lab.later(), reason="wanted too", agreed_with="the client", due_on=None,
        submission=submission, methods=[lab.method], basis=Basis.AS_RECEIVED, derived=asked,
        limit_set=compared,
    )  # fmt: skip


def _looked_at(lab: Laboratory, evaluation: Evaluation) -> None:
    """A remark beside a result, a rule of plausibility, a second factor that was on for a while."""
    comment_result(
        by=lab.people["reviewer"], at=lab.later(), result=evaluation.results.first(), text="the pulp looked wet"
    )
    register_plausibility(
        by=lab.people["quality manager"], at=lab.later(), name="one, by two", kind=PlausibilityKind.SAME_BY_TWO,
        source="common practice, no source",
    )  # fmt: skip
    a_second_factor(lab, "auditor")
    codes, at = make_recovery_codes(by=lab.people["auditor"], at=lab.later(), password=PASSWORD), lab.later()
    sign_in_with_code(by=lab.people["auditor"], at=at, code=codes[0])
    turn_off_second_factor(by=lab.people["auditor"], at=lab.later(), reason="a new telephone", password=PASSWORD)


def _asked_alone(lab: Laboratory) -> None:
    """A sample that is reported on another basis than the rest, and too small: accepted with a reason."""
    register_holding_time(
        by=lab.people["quality manager"], at=lab.later(), matrix=Matrix.objects.get(name="soil"), hours=4320.0,
        source="common practice, no source",
    )  # fmt: skip
    receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, methods=[lab.method],
        rows=[DeliveredSample(1, "a crumb", "soil", "0.2", basis="dry basis")],
        concerns=[AcceptedConcern("too little|row 1|AR-7", "all there is")],
    )  # fmt: skip


def _found_wrong(lab: Laboratory, number: str) -> None:
    """Nonconforming work that was found from a run, held and released."""
    quality = lab.people["quality manager"]
    work = open_nonconforming_work(
        by=quality, at=lab.later(), doubt=Doubt(DoubtKind.RUN, number), what="the pump slipped", effect="too low"
    )
    record_nonconforming_step(
        by=quality, at=lab.later(), work=work, step=NonconformingAct.RELEASE, text="within the uncertainty"
    )


def _estimated(lab: Laboratory) -> None:
    """A limit that was set by hand, and what copper alone showed at the line of lead."""
    estimate_limit(
        by=lab.people["quality manager"], at=lab.later(), reason="agreed", version=lab.version,
        line=lab.version.lines.earliest("pk").line, procedure=LimitProcedure.BY_HAND,
        by_hand={LimitQuantity.DETECTION: 0.02},
    )  # fmt: skip
    version = lab.version
    determine_interferences(
        by=lab.people["quality manager"], at=lab.later(), evaluation=a_run_with_copper_alone(lab)
    )  # fmt: skip
    lab.version = version


def _planned_anew(lab: Laboratory) -> None:
    """A run list that was made by a form, in place of one that nothing was read of."""
    run = a_run(lab, a_weighed_batch(lab, a_submission(lab, 1)))
    portions = [position.portion for position in run.positions.filter(role=Role.SAMPLE)]
    plan_run(
        by=lab.people["analyst"], at=lab.later(), reason="another order", method_version=lab.version,
        portions=portions, instrument=lab.spectrometer, replaces=run, form_key=f"form of {lab.clock.isoformat()}",
    )  # fmt: skip


def _dried_and_fired(lab: Laboratory, number: str) -> None:
    """The moisture of a sample, and the crucible of its portion."""
    preparer = lab.people["preparer"]
    record_mass_losses(
        by=preparer, at=lab.later(), kind=MassLossKind.MOISTURE, rows=[Heated(number, 21.4382, 26.6127, 22.7794)],
        temperature_C=105.0, balance=lab.balance,
    )  # fmt: skip
    record_fire_charges(
        by=preparer, at=lab.later(), batch=PreparationBatch.objects.get(portions__label=number), tray="T1",
        rows=[Fired(number, 1, flux_g=120.0)], flux_lot=Lot.objects.get(number="L-2300"),
    )  # fmt: skip


def _allowed(lab: Laboratory) -> None:
    """An expired lot that somebody let be used for a day."""
    quality = lab.people["quality manager"]
    number = f"L-{9000 + Lot.objects.count()}"
    old = register_lot(
        by=quality, at=lab.later(), number=number, material=lab.version.standards.earliest("ordinal").material,
        received_on=date(2025, 1, 5), expires_on=date(2026, 1, 5), contents=[],
    )  # fmt: skip
    allow_override(by=quality, at=lab.later(), reason="compared", kind=OverrideKind.EXPIRED_LOT, lot=old)


def more_is_set_up(lab: Laboratory) -> None:
    """A second method, a second layout, a lot and a check of equipment: what is entered once and not by daily work."""
    quality = lab.people["quality manager"]
    a_method(quality, "AR-8")
    save_layout(by=quality, at=lab.later(), specification=LONG)
    register_lot(
        by=quality, at=lab.later(), number="L-9999", material=lab.version.standards.earliest("ordinal").material,
        received_on=NOW.date(), expires_on=NOW.date(), contents=[{"element": "Cu", "value": 0.0, "unit": "mg/L"}],
    )  # fmt: skip
    record_equipment_check(
        by=quality, at=lab.later(), equipment=lab.balance, done_on=NOW.date(), due_on=NOW.date(), what="weight W4",
        passed=True,
    )  # fmt: skip
