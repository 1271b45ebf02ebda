"""A laboratory that has lived: a row in every table of technical records, made through acts."""

from datetime import date

from labresults.actions.access import end_access_token
from labresults.actions.asking import AcceptedConcern
from labresults.actions.attachments import attach_file
from labresults.actions.batches import begin_batch, discard_portion
from labresults.actions.calendar import mark_calendar_day
from labresults.actions.corrections import correct_identification
from labresults.actions.delivery import receive_samples
from labresults.actions.estimates import determine_interferences, estimate_limit
from labresults.actions.evaluation import accept_control, let_stand
from labresults.actions.fire import Fired, record_fire_charges
from labresults.actions.holding import register_holding_time
from labresults.actions.mass_losses import Heated, record_mass_losses
from labresults.actions.materials import record_equipment_check, register_lot
from labresults.actions.methods import save_layout
from labresults.actions.overrides import allow_override
from labresults.actions.runs import plan_run
from labresults.actions.samples import state_not_measured
from labresults.models import ControlOutcome, Lot, Matrix, PreparationBatch
from labresults.readers.delivery import DeliveredSample
from labresults.terms import (
    DayPart,
    LimitProcedure,
    LimitQuantity,
    MassLossKind,
    NotMeasured,
    OverrideKind,
    Role,
    Verdict,
)
from reports.actions.certificates import amend_certificate, withdraw_certificate
from reports.models import Certificate
from tests.builders import (
    LONG,
    NOW,
    PHOTOGRAPH,
    Laboratory,
    a_certificate,
    a_method,
    a_run,
    a_run_with_copper_alone,
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
    certificate = a_certificate(lab, approved(lab, submission))
    amended = amend_certificate(
        by=lab.people["issuer"],
        at=lab.later(),
        reason="wrong reference",
        certificate=certificate,
        rule_set=lab.rule_set,
    )
    withdraw_certificate(by=lab.people["issuer"], at=lab.later(), reason="wrong client", certificate=amended)
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
    end_access_token(by=lab.people["analyst"], at=lab.later(), reason="the machine is sold", token=a_token(lab))
    return certificate


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
