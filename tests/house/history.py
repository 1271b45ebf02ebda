"""A laboratory that has lived: a row in every table of technical records, made through acts."""

from labresults.actions.evaluation import accept_control
from labresults.actions.materials import record_equipment_check, register_lot
from labresults.actions.methods import save_layout
from labresults.actions.samples import state_not_measured
from labresults.models import ControlOutcome
from labresults.terms import NotMeasured, Verdict
from reports.actions.certificates import amend_certificate, withdraw_certificate
from reports.models import Certificate
from tests.builders import (
    LONG,
    NOW,
    Laboratory,
    a_certificate,
    a_method,
    a_submission,
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
    state_not_measured(
        by=lab.people["reception"], at=lab.later(), reason="the bag was empty", sample=lost, method=lab.method,
        word=NotMeasured.NOT_RECEIVED,
    )  # fmt: skip
    return certificate


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
