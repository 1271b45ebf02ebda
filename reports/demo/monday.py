"""The rest of the story: three small deliveries of Friday evening, read on Monday, with what follows a certificate.

Wells go out, are withdrawn for a name that was wrong, and go out again as issue 2; soils are approved, with their
exchange capacity; rocks wait at Review, one of them with oxides that do not add up. A lot is doubted, and cleared.
"""

from dataclasses import dataclass
from datetime import timedelta

from labresults.actions.corrections import correct_identification
from labresults.actions.nonconforming import open_nonconforming_work, record_nonconforming_step
from labresults.actions.opinions import state_opinion
from labresults.actions.sampling import record_sampling
from labresults.models import Lot, PreparationBatch, Run, Submission
from labresults.queries.forward import Doubt
from labresults.terms import DoubtKind, MassLossKind, NonconformingAct
from reports.actions.certificates import (
    amend_certificate,
    issue_certificate,
    publish_certificate,
    withdraw_certificate,
)
from reports.demo.data import november as _at
from reports.demo.data import read
from reports.demo.work import Laboratory, portions_of, selected
from reports.models import Certificate


@dataclass(frozen=True)
class Small:
    """The three small deliveries, and their batches by method."""

    wells: Submission
    soils: Submission
    rocks: Submission
    batches: dict[str, list[PreparationBatch]]


def receive_small(laboratory: Laboratory) -> Small:
    """Friday evening: wells that the laboratory sampled itself, soils, and rocks; prepared as far as the day goes."""
    wells = laboratory.receive("wells", _at(13, 16, 46))
    record_sampling(
        by=laboratory.founded.people["marlow"],
        at=_at(13, 16, 48),
        submission=wells,
        **read("deliveries")["wells"]["taken"],
    )
    soils = laboratory.receive("soils", _at(13, 16, 52))
    rocks = laboratory.receive("rocks", _at(13, 16, 56))
    of_soils = list(soils.samples.order_by("ordinal"))
    of_rocks = list(rocks.samples.order_by("ordinal"))
    laboratory.heat(of_soils, _at(13, 16, 58), "soils", MassLossKind.MOISTURE)
    laboratory.heat(of_rocks, _at(13, 16, 59), "rocks", MassLossKind.IGNITION)
    batches = {}
    asked = (("GW-5", list(wells.samples.order_by("ordinal")), 0), ("SX-3", of_soils, 16))
    for method, samples, minute in asked:
        batches[method] = laboratory.prepare(method, samples, _at(13, 17, minute))
    return Small(wells, soils, rocks, batches)


def plan_small(laboratory: Laboratory, small: Small) -> tuple[Run, Run]:
    """Monday at half past seven: wells and cations side by side, then fusions and the second extraction; their runs
    are planned as soon as the instruments are free."""
    wells = laboratory.plan(portions_of(small.batches["GW-5"]), _at(16, 7, 25))
    cations = laboratory.plan(portions_of(small.batches["SX-3"]), _at(16, 7, 28))
    aluminium = laboratory.prepare("SX-4", list(small.soils.samples.order_by("ordinal")), _at(16, 7, 40))
    beads = laboratory.prepare("LB-8", list(small.rocks.samples.order_by("ordinal")), _at(16, 7, 56))
    laboratory.load(wells, "wells GW-5", _at(16, 8, 50))
    laboratory.load(cations, "soils SX-3", _at(16, 8, 52))
    laboratory.evaluate(wells, _at(16, 8, 54))
    laboratory.evaluate(cations, _at(16, 8, 55))
    oxides = laboratory.plan(portions_of(beads), _at(16, 8, 56))
    acid = laboratory.plan(portions_of(aluminium), _at(16, 8, 57))
    laboratory.approve(selected(small.wells, "GW-5"), _at(16, 9, 5))
    state_opinion(
        by=laboratory.founded.people["castellane"],
        at=_at(16, 9, 12),
        submission=small.wells,
        **read("deliveries")["wells"]["opinion"],
    )
    return oxides, acid


def read_small(laboratory: Laboratory, small: Small, runs: tuple[Run, Run]) -> None:
    """The second pair of runs, evaluated; the soils are approved, the rocks wait for the reviewer."""
    oxides, acid = runs
    laboratory.load(oxides, "rocks LB-8", _at(16, 10, 30))
    laboratory.load(acid, "soils SX-4", _at(16, 10, 32))
    laboratory.evaluate(oxides, _at(16, 10, 34))
    laboratory.evaluate(acid, _at(16, 10, 35))
    for minute, method in ((40, "SX-3"), (42, "SX-4")):
        laboratory.approve(selected(small.soils, method), _at(16, 10, minute))


def certify_wells(laboratory: Laboratory, wells: Submission) -> tuple[Certificate, Certificate]:
    """Issue, withdraw for a name that was wrong at the well, correct it, and issue anew; both stay readable."""
    issuer = laboratory.founded.people["quill"]
    first = issue_certificate(by=issuer, at=_at(16, 10, 50), submission=wells, rule_set=laboratory.founded.rules)
    publish_certificate(by=issuer, at=_at(16, 10, 51), certificate=first)
    wrong = "The client telephoned: what was labelled well 6 is well 9; the pump was moved in spring."
    withdraw_certificate(by=issuer, at=_at(16, 11, 10), reason=wrong, certificate=first)
    correct_identification(
        by=laboratory.founded.people["marlow"],
        at=_at(16, 11, 12),
        reason=wrong,
        sample=wells.samples.get(client_identification="TH well 6, 27 m"),
        to="TH well 9, 27 m",
    )
    second = amend_certificate(
        by=issuer, at=_at(16, 11, 15), reason=wrong, certificate=first, rule_set=laboratory.founded.rules
    )
    publish_certificate(by=issuer, at=_at(16, 11, 16), certificate=second)
    return first, second


def doubt_a_lot(laboratory: Laboratory) -> None:
    """The maker of a standard corrects its certificate; what it touched is held, judged and released."""
    quality, at = laboratory.founded.people["quill"], _at(16, 11, 20)
    lot = Lot.objects.get(material__code="GW-STD-3").number
    work = open_nonconforming_work(
        by=quality,
        at=at,
        doubt=Doubt(DoubtKind.LOT, lot, element="Na"),
        what=f"The maker of the stock of {lot} corrected its certificate: sodium is 0.2 % higher than was printed.",
        effect="Sodium of the wells may be 0.2 % too low; the stated uncertainty is 2 %.",
    )
    steps = (
        (NonconformingAct.JUDGE, "Acceptable: 0.2 % is a tenth of the standard uncertainty, and no statement changes."),
        (NonconformingAct.RELEASE, "Judged acceptable; nothing is amended."),
        (NonconformingAct.CORRECT, "The next standards are made with the corrected content."),
        (NonconformingAct.CLOSE, "Cleared; the corrected certificate is filed with the lot."),
    )
    for minute, (step, text) in enumerate(steps, start=2):
        record_nonconforming_step(by=quality, at=at + timedelta(minutes=minute), work=work, step=step, text=text)
