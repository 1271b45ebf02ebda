"""A submission of which everything is true at once that a page asks for: what asks the database most."""

from labresults.actions.attachments import attach_file
from labresults.actions.batches import begin_batch
from labresults.actions.comments import comment_result
from labresults.actions.corrections import correct_identification
from labresults.actions.delivery import receive_samples
from labresults.actions.derived import define_sample_set
from labresults.actions.evaluation import accept_control, evaluate_run, select_result
from labresults.actions.fire import Fired, record_fire_charges
from labresults.actions.limits import LimitRow, register_limits
from labresults.actions.mass_losses import Heated, record_mass_losses
from labresults.actions.nonconforming import open_nonconforming_work, record_nonconforming_step
from labresults.actions.plausibility import register_plausibility
from labresults.actions.requests import change_request
from labresults.actions.weighings import Weighed, record_weighings
from labresults.models import (
    ControlOutcome,
    LimitEstimate,
    Lot,
    NonconformingWork,
    PreparationBatch,
    Result,
    Submission,
)
from labresults.queries.forward import Doubt
from labresults.readers.delivery import DeliveredSample
from labresults.terms import (
    Basis,
    DerivedForm,
    DoubtKind,
    LimitProcedure,
    LimitQuantity,
    MassLossKind,
    NonconformingAct,
    PlausibilityKind,
    Role,
    Verdict,
)
from reports.actions.rule_sets import choose_rule_set, save_rule_set
from reports.models import Certificate
from reports.rules.ruleset import RuleSet
from tests.builders import (
    PHOTOGRAPH,
    Laboratory,
    a_certificate,
    a_derived,
    a_grade,
    a_reading_file,
    a_run,
    an_imported_file,
    approved,
)

SAMPLES = (("weir, total", "no", ""), ("weir, dissolved", "yes", ""), ("bank 3", "", "as received"))
"""Name, whether it was filtered in the field, and on which basis where it is not that of the others."""


def the_worst_submission(lab: Laboratory) -> Submission:
    """Nobody has reviewed it yet: dried and fired, kept out of its window, over an open failure of its batch in another
    run, below a limit that nobody can decide, derived, held by a case, and spoken of by every rule of plausibility."""
    _rules(lab)
    submission = _delivered(lab)
    batch = _prepared(lab, submission)
    blank = batch.portions.get(role=Role.METHOD_BLANK).label
    for lead_in_the_blank in (0.2, 0.25, 0.0):  # two failures confirm each other, and no third reading mends them
        run = a_run(lab, batch)
        contents = {blank: {"Pb": lead_in_the_blank}, submission.samples.get(ordinal=3).number: {"Cu": 0.2, "Pb": 35.0}}
        an_imported_file(lab, run, a_reading_file(run, contents=contents))
        evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    _spoken_of(lab, submission)
    return submission


def _rules(lab: Laboratory) -> None:
    bounds = {
        PlausibilityKind.RATIO: (("Cu", "Pb"), 0.1, 0.2), PlausibilityKind.OXIDE_TOTAL: ((), 98.0, 102.0),
        PlausibilityKind.BESIDE_EARLIER: ((), None, 5.0),
    }  # fmt: skip
    for kind in PlausibilityKind:
        elements, low, high = bounds.get(kind, ((), None, None))
        register_plausibility(
            by=lab.people["quality manager"], at=lab.later(), name=str(kind), kind=kind, elements=elements, low=low,
            high=high, source="invented",
        )  # fmt: skip


def _delivered(lab: Laboratory) -> Submission:
    quality = lab.people["quality manager"]
    strict = register_limits(
        by=quality, at=lab.later(), name="Strict", edition="2026", source="invented",
        limits=[LimitRow("Cu", 0.1, "mg/kg")],
    )  # fmt: skip
    dry = a_derived(lab, "dry", form=DerivedForm.DRY, terms=[{"element": "Cu", "unit": "mg/kg"}])
    rows = [
        DeliveredSample(row, name, "soil", "30", sampled="2026-11-15T09:00", field_filtered=filtered, basis=basis)
        for row, (name, filtered, basis) in enumerate(SAMPLES, start=1)
    ]
    submission = receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, rows=rows, methods=[lab.method],
        basis=Basis.DRY, limit_set=strict, derived=[a_derived(lab), a_grade(lab), dry],
    )  # fmt: skip
    samples = list(submission.samples.order_by("ordinal"))
    define_sample_set(
        by=lab.people["reception"], at=lab.later(), submission=submission, name="both",
        members=[(sample, 2.5) for sample in samples[:2]],
    )  # fmt: skip
    record_mass_losses(
        by=lab.people["preparer"], at=lab.later(), kind=MassLossKind.MOISTURE, temperature_C=105.0, balance=lab.balance,
        rows=[Heated(sample.number, 21.4382, 26.6127, 22.7794) for sample in samples],
    )  # fmt: skip
    return submission


def _prepared(lab: Laboratory, submission: Submission) -> PreparationBatch:
    """Weighed outside the method's window for a reason, and in crucibles."""
    preparer = lab.people["preparer"]
    batch = begin_batch(
        by=preparer, at=lab.later(), method_version=lab.version, samples=submission.samples.order_by("ordinal"),
        caution_read=True,
    )  # fmt: skip
    portions = list(batch.portions.order_by("tube"))
    masses = {Role.METHOD_BLANK: None, Role.SAMPLE: 0.56}
    rows = [Weighed(p.label, masses.get(Role(p.role), 0.5), 50.0, reason="all of the vial") for p in portions]
    record_weighings(by=preparer, at=lab.later(), batch=batch, balance=lab.balance, rows=rows)
    record_fire_charges(
        by=preparer, at=lab.later(), batch=batch, tray="T1", flux_lot=Lot.objects.get(number="L-2300"),
        rows=[Fired(portion.label, place, flux_g=120.0) for place, portion in enumerate(portions, start=1)],
    )  # fmt: skip
    return batch


def _spoken_of(lab: Laboratory, submission: Submission) -> None:
    """Remarks, a case that holds everything, an estimate of the limit, another name, a photograph."""
    quality, sample = lab.people["quality manager"], submission.samples.get(ordinal=1)
    line = lab.version.lines.get(line__element="Pb").line
    for limit in (LimitQuantity.DETECTION, LimitQuantity.QUANTIFICATION):
        LimitEstimate.objects.create(
            method_version=lab.version, line=line, procedure=LimitProcedure.BLANKS, quantity=limit,
            value=0.01 if limit == LimitQuantity.DETECTION else 0.05, unit="mg/L", count=10, words="of ten blanks",
            made_by=quality, made_at=lab.version.made_at,
        )  # fmt: skip
    result = Result.objects.filter(sample=sample, element="Pb", is_candidate=True).latest("pk")
    comment_result(by=lab.people["reviewer"], at=lab.later(), result=result, text="The pulp looked wet.")
    open_nonconforming_work(
        by=quality, at=lab.later(), doubt=Doubt(DoubtKind.BATCH, result.position.portion.batch.number),
        what="The hood was cold.", effect="May read low.",
    )  # fmt: skip
    correct_identification(
        by=lab.people["reception"], at=lab.later(), reason="misread", sample=sample, to="weir 1, total"
    )
    attach_file(by=lab.people["reception"], at=lab.later(), submission=submission, name="weir.png", content=PHOTOGRAPH)


def certified(lab: Laboratory, submission: Submission) -> Certificate:
    """The same once all was accepted by name, released, approved and issued, with rules of its own for its method."""
    quality = lab.people["quality manager"]
    for work in NonconformingWork.objects.all():
        record_nonconforming_step(
            by=quality, at=lab.later(), work=work, step=NonconformingAct.RELEASE, text="within the uncertainty"
        )
    failed = list(ControlOutcome.objects.filter(verdict=Verdict.OUTSIDE, acceptance__isnull=True))
    accept_control(by=lab.people["analyst"], at=lab.later(), outcomes=failed, reason="Seen, and small beside it.")
    approved(lab, submission)
    save_rule_set(by=quality, at=lab.later(), rule_set=RuleSet("Own", 1))
    choose_rule_set(by=lab.people["issuer"], at=lab.later(), name="R2")
    choose_rule_set(by=lab.people["issuer"], at=lab.later(), name="Own", method=lab.method)
    return a_certificate(lab, submission, draw=False)


def changed_since(lab: Laboratory, submission: Submission) -> None:
    """After its certificate: asked for anew, another measurement chosen and approved."""
    reception, sample = lab.people["reception"], submission.samples.get(ordinal=2)
    newest = submission.requests.latest("version")
    change_request(
        by=reception, at=lab.later(), reason="asked later", agreed_with="A. Roth", due_on=None, submission=submission,
        methods=[lab.method], basis=Basis.AS_RECEIVED, limit_set=newest.limit_set,
    )  # fmt: skip
    other = Result.objects.filter(sample=sample, element="Cu", is_candidate=True).latest("pk")
    select_result(by=lab.people["analyst"], at=lab.later(), result=other, reason="The first tube leaked.")
    approved(lab, submission)
