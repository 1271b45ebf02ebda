"""A certificate that stands on a row in every table of the chain."""

from datetime import date

from labresults.actions.asking import AcceptedConcern
from labresults.actions.batches import add_reagents, begin_batch, discard_portion
from labresults.actions.corrections import correct_identification
from labresults.actions.delivery import receive_samples
from labresults.actions.derived import define_derived, define_sample_set
from labresults.actions.evaluation import accept_control, evaluate_run, let_stand
from labresults.actions.fire import Fired, record_fire_charges
from labresults.actions.holding import register_holding_time
from labresults.actions.limits import LimitRow, register_limits
from labresults.actions.mass_losses import Heated, record_mass_losses
from labresults.actions.materials import register_lot
from labresults.actions.opinions import state_opinion
from labresults.actions.overrides import allow_override
from labresults.actions.people import authorise_person
from labresults.actions.samples import state_not_measured
from labresults.actions.sampling import record_sampling
from labresults.actions.scope import ScopeRow, register_scope
from labresults.actions.weighings import Weighed, record_weighings
from labresults.models import (
    DerivedDefinition,
    Evaluation,
    LimitSet,
    Lot,
    Matrix,
    PreparationBatch,
    Submission,
)
from labresults.readers.delivery import DeliveredSample
from labresults.terms import DerivedForm, MassLossKind, NotMeasured, OverrideKind, Role, Task, Verdict
from reports.actions.certificates import issue_certificate, publish_certificate
from reports.models import Certificate
from tests.builders import (
    Laboratory,
    a_reading_file,
    a_run,
    a_submission,
    an_evaluated_run,
    an_imported_file,
    approved,
)


def a_rich_certificate(lab: Laboratory) -> Certificate:
    """Five samples: compared with limits, dried, one on its own terms, one in words, a set; a failed check accepted."""
    limits = _entered(lab)
    submission = _received(lab, limits)
    batch = _prepared(lab, submission)
    _measured(lab, batch)
    _said(lab, submission)
    further = a_submission(lab, 1, names=["core 9"])
    an_evaluated_run(lab, further)
    for one in (submission, further):
        approved(lab, one)
    certificate = issue_certificate(
        by=lab.people["issuer"], at=lab.later(), submission=submission, further=[further], rule_set=lab.rule_set
    )
    publish_certificate(by=lab.people["issuer"], at=lab.later(), certificate=certificate)
    return certificate


def _entered(lab: Laboratory) -> LimitSet:
    quality = lab.people["quality manager"]
    register_holding_time(
        by=quality, at=lab.later(), matrix=Matrix.objects.get(name="soil"), hours=4320.0,
        source="common practice, no source",
    )  # fmt: skip
    rows = [ScopeRow("Cu", "soil", 1.0, 1000.0, "mg/kg")]
    register_scope(by=quality, at=lab.later(), method=lab.method, rows=rows, valid_from=date(2026, 1, 1))
    authorise_person(
        by=quality, at=lab.later(), person=lab.people["reviewer"], task=Task.OPINE, valid_from=date(2026, 1, 1)
    )
    for code, form in (("cu-pb", DerivedForm.SUM), ("grade", DerivedForm.WEIGHTED_MEAN)):
        terms = [{"part": "a", "element": element, "as": element, "unit": "mg/kg"} for element in ("Cu", "Pb")]
        define_derived(
            by=quality, at=lab.later(), code=code, name=code, reported_as=code, unit="mg/kg", form=form,
            terms=terms if form == DerivedForm.SUM else terms[:1], source="common practice, no source",
        )  # fmt: skip
    parent = register_lot(
        by=quality, at=lab.later(), number="L-2100", material=Lot.objects.get(number="L-2200").material,
        received_on=date(2026, 1, 2), expires_on=date(2027, 1, 5), contents=[],
    )  # fmt: skip
    register_lot(
        by=quality, at=lab.later(), number="L-2150", material=parent.material, made_from=parent,
        received_on=date(2026, 1, 3), expires_on=date(2026, 2, 5),
        contents=[{"element": "Cu", "value": 0.0, "unit": "mg/L"}],
    )  # fmt: skip
    return register_limits(
        by=quality, at=lab.later(), name="L", edition="1", source="the client",
        limits=[("Pb", 100.0, "mg/kg"), LimitRow("", 500.0, "mg/kg", derived="cu-pb")],
    )  # fmt: skip


def _received(lab: Laboratory, limits: LimitSet) -> Submission:
    rows = [DeliveredSample(row, f"core {row}", "soil", "30", sampled="2026-11-10") for row in range(1, 5)]
    rows.append(DeliveredSample(5, "a crumb", "soil", "0.2", basis="dry basis", sampled="2026-11-10"))
    submission = receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, methods=[lab.method], limit_set=limits,
        rows=rows, concerns=[AcceptedConcern("too little|row 5|AR-7", "all there is")], reference="order 26-118",
        derived=list(DerivedDefinition.objects.all()),
    )  # fmt: skip
    reception = lab.people["reception"]
    first, second, *_, crumb = submission.samples.order_by("ordinal")
    correct_identification(by=reception, at=lab.later(), reason="misread", sample=first, to="core 1 A")
    record_mass_losses(
        by=lab.people["preparer"], at=lab.later(), kind=MassLossKind.MOISTURE, temperature_C=105.0,
        rows=[Heated(crumb.number, 21.4382, 26.6127, 25.7794)], balance=lab.balance,
    )  # fmt: skip
    record_sampling(
        by=reception, at=lab.later(), submission=submission, sampled_by="R. Person", place="pit 4", plan="a grid"
    )
    define_sample_set(
        by=reception, at=lab.later(), submission=submission, name="hole 4", members=[(first, 1.5), (second, 2.0)]
    )
    return submission


def _prepared(lab: Laboratory, submission: Submission) -> PreparationBatch:
    preparer = lab.people["preparer"]
    samples = list(submission.samples.order_by("ordinal"))
    batch = begin_batch(
        by=preparer, at=lab.later(), method_version=lab.version, samples=[*samples[:3], samples[4]], caution_read=True
    )
    spilled = batch.portions.get(label=samples[1].number)
    discard_portion(by=preparer, at=lab.later(), reason="spilled", portion=spilled)
    _with_a_lot_of_before(lab, batch)
    record_weighings(
        by=preparer, at=lab.later(), batch=batch, balance=lab.balance,
        rows=[
            Weighed(p.label, mass_g=None if p.role == Role.METHOD_BLANK else 0.5, volume_mL=50.0)
            for p in batch.portions.filter(discarded=None).order_by("tube")
        ],
    )  # fmt: skip
    record_fire_charges(
        by=preparer, at=lab.later(), batch=batch, rows=[Fired(samples[0].number, 1, flux_g=120.0)], tray="T1",
        flux_lot=Lot.objects.get(number="L-2300"),
    )  # fmt: skip
    state_not_measured(
        by=preparer, at=lab.later(), reason="the bag was empty", sample=samples[3], method=lab.method,
        word=NotMeasured.NOT_RECEIVED,
    )  # fmt: skip
    return batch


def _with_a_lot_of_before(lab: Laboratory, batch: PreparationBatch) -> None:
    """A reagent that had expired and that somebody let be used that day."""
    old = Lot.objects.get(number="L-2150")
    at = lab.later()
    allow_override(by=lab.people["quality manager"], at=at, reason="compared", kind=OverrideKind.EXPIRED_LOT, lot=old)
    add_reagents(by=lab.people["preparer"], at=at, batch=batch, lots=[old], reason="the new one came late")


def _measured(lab: Laboratory, batch: PreparationBatch) -> Evaluation:
    analyst = lab.people["analyst"]
    run = a_run(lab, batch)
    an_imported_file(lab, run, a_reading_file(run, factors={("ICV 1", "Cu"): 1.2}))
    evaluation = evaluate_run(by=analyst, at=lab.later(), run=run)
    number, line, *_ = evaluation.repeats[0]
    let_stand(by=analyst, at=lab.later(), reason="accepted", places=[(run.positions.get(number=number), line)])
    failed = list(evaluation.outcomes.filter(verdict=Verdict.OUTSIDE))
    accept_control(by=analyst, at=lab.later(), reason="read again by hand", outcomes=failed)
    return evaluation


def _said(lab: Laboratory, submission: Submission) -> None:
    state_opinion(
        by=lab.people["reviewer"], at=lab.later(), submission=submission, text="Such as it is.", basis="the results"
    )
