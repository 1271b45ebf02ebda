"""The week of 9 to 16 November 2026 at the invented laboratory, told from Monday to Monday.

Nine deliveries, each of which stops at another station; the last three are told in monday.py. Every time is stated;
nothing here reads the clock. Whatever is printed or marked in the end is computed by the program from the files that
the invented instrument wrote.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from django.conf import settings

from labresults.actions.evaluation import compute
from labresults.models import Evaluation, PreparationBatch, Submission, TestPortion
from labresults.terms import MassLossKind, Role, Verdict, WayIn
from reports.actions.certificates import issue_certificate, publish_certificate
from reports.actions.signing import register_signing_certificate
from reports.demo.data import november as _at
from reports.demo.data import read
from reports.demo.load import found
from reports.demo.monday import certify_wells, doubt_a_lot, plan_small, read_small, receive_small
from reports.demo.work import Laboratory, portions_of, selected
from reports.models import Certificate
from reports.signing.keys import CERTIFICATE_FILE, KEY_FILE, make_key, read_public

Say = Callable[[str], None]

SHORTEST = timedelta(hours=3, minutes=30)
"""From planning to loading, for a run that is not left overnight."""


@dataclass(frozen=True)
class SignIn:
    """Somebody who can sign in to the demonstration."""

    sign_in: str
    full_name: str
    roles: tuple[str, ...]


@dataclass(frozen=True)
class Told:
    """What the story left behind: certificates by their names, and who can sign in with which password."""

    certificates: tuple[str, ...]
    sign_ins: tuple[SignIn, ...]
    password: str


def tell(say: Say) -> Told:
    """Tell the whole story into an empty database. Raises WrongState where a laboratory is founded already."""
    say("Kestrel Flat Laboratory, invented: people, standards, methods.")
    laboratory = Laboratory(found())
    say("Drill core of Ninefold Ridge: from the counter to the certificate.")
    ridge = drill_core(laboratory)
    say("Used oil of Cog Lane, read against yttrium: at Review.")
    used_oil(laboratory)
    say("Waste water of Saltbeck Town: measured, with control samples that failed.")
    waste_water(laboratory)
    say("Leaves of Tern Hollow: one half at Review, one half prepared.")
    leaf_batches = leaves(laboratory)
    say("Sediments of Alder Weir: read in a night without anybody, evaluated, with what failed at the top.")
    sediment_batches = sediment(laboratory)
    say("Wells, soils and rocks: three small deliveries of Friday evening.")
    small = receive_small(laboratory)
    weekend(laboratory, leaf_batches, sediment_batches)
    runs = plan_small(laboratory, small)
    say("A second hole of Ninefold Ridge: just received.")
    laboratory.receive("second_hole", _at(16, 9, 40))
    certificate = certify(laboratory, ridge)
    say(f"{certificate} is issued.")
    read_small(laboratory, small, runs)
    wells = certify_wells(laboratory, small.wells)
    say(f"{wells[0]} was withdrawn for a wrong name; {wells[1]} stands. A lot comes into doubt, and is cleared.")
    doubt_a_lot(laboratory)
    return Told(tuple(map(str, (certificate, *wells))), sign_ins(), laboratory.founded.password)


def sign_ins() -> tuple[SignIn, ...]:
    """Return who can sign in to the demonstration, as fixtures/demo says."""
    laboratory = read("laboratory")
    founder = laboratory["founder"]
    return (
        SignIn(founder["sign_in"], founder["full_name"], ("laboratory manager", "quality manager")),
        *(SignIn(raw["sign_in"], raw["full_name"], tuple(raw["roles"])) for raw in laboratory["people"]),
    )


def drill_core(laboratory: Laboratory) -> Submission:
    """Sixty samples by aqua regia and fire assay, five of them by ore grade as well; all approved in the end."""
    submission = laboratory.receive("ridge", _at(9, 9, 12))
    samples = list(submission.samples.order_by("ordinal"))
    ore = [sample for sample in samples if sample.requested.filter(method__code="FD-4").exists()]
    rock = laboratory.prepare("AR-7", samples, _at(9, 10, 30))
    beads = laboratory.prepare("FA-30", samples, _at(9, 13, 0))
    grade = laboratory.prepare("FD-4", ore, _at(10, 9, 0))

    first = laboratory.measure("ridge AR-7, first", portions_of(rock), _at(10, 16, 10))
    again, cause = measure_again(laboratory.evaluate(first, _at(11, 7, 50)))
    second = laboratory.measure(
        "ridge AR-7, second", [*again], _at(11, 8, 30), dilutions=_diluted(again), reason=cause, loaded_after=SHORTEST
    )
    laboratory.evaluate(second, _at(11, 12, 5))

    gold = laboratory.measure("ridge FA-30, first", portions_of(beads), _at(11, 12, 30), loaded_after=SHORTEST)
    again, cause = measure_again(laboratory.evaluate(gold, _at(11, 16, 5)))
    if again:
        richest = laboratory.measure(
            "ridge FA-30, second", [*again], _at(11, 16, 15), dilutions=_diluted(again), reason=cause
        )
        laboratory.evaluate(richest, _at(12, 7, 40))
    ores = laboratory.measure("ridge FD-4", portions_of(grade), _at(12, 8, 0), loaded_after=SHORTEST)
    laboratory.evaluate(ores, _at(12, 11, 35))
    approve_drill_core(laboratory, submission)
    return submission


def approve_drill_core(laboratory: Laboratory, submission: Submission) -> None:
    """The analyst accepts one duplicate by name; the reviewer looks at what asks for it, and approves what stands."""
    silver = "Coarse silver: the pulp of this sample was sieved again and holds flakes. The other two batches agree."
    results = selected(submission, "AR-7")
    laboratory.accept(results, _at(12, 13, 5), silver, role=Role.DUPLICATE)
    for minute, method in ((10, "AR-7"), (25, "FA-30"), (35, "FD-4")):
        laboratory.approve(selected(submission, method), _at(12, 13, minute))


def used_oil(laboratory: Laboratory) -> None:
    """Thirty oils by mass in solvent; evaluated, and waiting for the reviewer."""
    submission = laboratory.receive("oil", _at(12, 14, 20))
    batches = laboratory.prepare("OIL-2", list(submission.samples.order_by("ordinal")), _at(12, 15, 0))
    run = laboratory.measure("oil OIL-2", portions_of(batches), _at(12, 16, 30))
    laboratory.evaluate(run, _at(13, 7, 35))


def waste_water(laboratory: Laboratory) -> None:
    """Forty waters; a method blank and a spike fail, and nobody has said yet what follows."""
    submission = laboratory.receive("water", _at(13, 8, 5))
    batches = laboratory.prepare("WW-2", list(submission.samples.order_by("ordinal")), _at(13, 8, 30))
    run = laboratory.measure("water WW-2, first", portions_of(batches), _at(13, 11, 20), loaded_after=SHORTEST)
    laboratory.evaluate(run, _at(13, 14, 55))


def leaves(laboratory: Laboratory) -> list[PreparationBatch]:
    """Forty leaves, prepared in two batches."""
    submission = laboratory.receive("leaves", _at(13, 15, 5))
    samples = list(submission.samples.order_by("ordinal"))
    laboratory.heat(samples, _at(13, 15, 12), "leaves", MassLossKind.MOISTURE)
    return laboratory.prepare("PLANT-10", samples, _at(13, 15, 20))


def sediment(laboratory: Laboratory) -> list[PreparationBatch]:
    """Forty sediments, prepared in two batches."""
    submission = laboratory.receive("sediment", _at(13, 16, 5))
    return laboratory.prepare("SD-18", list(submission.samples.order_by("ordinal")), _at(13, 16, 10))


def weekend(
    laboratory: Laboratory, leaf_batches: list[PreparationBatch], sediment_batches: list[PreparationBatch]
) -> None:
    """Two runs at two instruments, planned on Friday evening. The file of the sediments is taken from the folder that
    is watched, and evaluated, while nobody is there; that of the first leaves is loaded on Monday."""
    of_leaves = laboratory.plan(portions_of(leaf_batches[:1]), _at(13, 17, 40))
    of_sediment = laboratory.plan(portions_of(sediment_batches), _at(13, 17, 50))
    laboratory.load(of_sediment, "sediment SD-18, night", _at(13, 21, 45), WayIn.FOLDER)
    laboratory.evaluate(of_sediment, _at(13, 21, 46))
    laboratory.load(of_leaves, "leaves PLANT-10", _at(16, 7, 10))
    laboratory.evaluate(of_leaves, _at(16, 7, 20))


def certify(laboratory: Laboratory, submission: Submission) -> Certificate:
    """Freeze and draw the certificate of a submission whose results are all approved."""
    issuer = laboratory.founded.people["quill"]
    make_the_key(laboratory)
    certificate = issue_certificate(
        by=issuer, at=_at(16, 10, 5), submission=submission, rule_set=laboratory.founded.rules
    )
    publish_certificate(by=issuer, at=_at(16, 10, 6), certificate=certificate)
    return certificate


def make_the_key(laboratory: Laboratory) -> None:
    """Make the key that certificates are signed with, unless an earlier telling left one, and put it on record."""
    folder, at = Path(settings.KEYS), _at(9, 8, 0)
    if not (folder / KEY_FILE).exists():
        make_key(folder, laboratory=read("laboratory")["laboratory"]["name"], at=at, passphrase=settings.KEY_PASSPHRASE)
    manager = laboratory.founded.people["farrant"]
    register_signing_certificate(by=manager, at=_at(16, 9, 55), half=read_public(folder / CERTIFICATE_FILE))


def measure_again(evaluation: Evaluation) -> tuple[dict[TestPortion, float], str]:
    """Return the portions of samples to read again, each with its dilution, and the cause in one sentence.

    Read again is what a failed check of the bracket touches, as it is; and what is over range, at the proposed
    dilution, or at the largest of the method where the instrument was saturated and there is no number to start from.
    """
    run = evaluation.run
    largest = float(run.method_version.dilution_steps[-1])
    factors: dict[int, float] = {}
    for proposal in compute(run=run).evaluated.proposals:
        factors[proposal.position] = max(proposal.factor or largest, factors.get(proposal.position, 1.0))
    failed = list(
        evaluation.outcomes.filter(verdict=Verdict.OUTSIDE, position__role=Role.CONTINUING_VERIFICATION).order_by("pk")
    )
    touched = {number for outcome in failed for number in outcome.touches}
    places = run.positions.filter(role=Role.SAMPLE).select_related("portion__batch__method_version__method")
    again = {
        place.portion: factors.get(place.number, 1.0)
        for place in places.order_by("number")
        if place.number in touched | set(factors)
    }
    diluted = [f"{portion.label} x {factor:g}" for portion, factor in again.items() if factor > 1]
    causes = [f"Position {outcome.position.number}: {outcome.why}" for outcome in failed]
    return again, " ".join([*causes, f"Over range: {', '.join(diluted)}." if diluted else ""]).strip()


def _diluted(again: dict[TestPortion, float]) -> dict[int, float]:
    return {portion.pk: factor for portion, factor in again.items() if factor > 1}
