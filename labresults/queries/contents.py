"""What the control samples of a batch should hold. Each function says how many database queries it makes."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from labresults.calculation.errors import CalculationError
from labresults.calculation.preparation import basis_of
from labresults.calculation.run import Determination, Portion
from labresults.calculation.spiking import added_as_reported, certified_as_reported
from labresults.models import Content, MethodVersion, Request, RequestedTerms, TestPortion, Weighing
from labresults.queries.mass_losses import moisture_of_samples
from labresults.queries.run_portions import portion_of
from labresults.terms import Basis, Role


@dataclass(frozen=True)
class Held:
    """What a control sample should hold of one determination. value None: it is not to be had, and `words` say why."""

    reported_as: str
    value: float | None
    unit: str
    words: str = ""


def expected_contents(portions: Iterable[TestPortion], version: MethodVersion) -> dict[int, tuple[Held, ...]]:
    """What reference materials hold of what the version reports, by key of the portion; two queries.

    As certified under the version's dissolution, in the unit of the report where one leads there.
    """
    lots = {portion.pk: portion.lot_id for portion in portions if portion.lot_id}
    known = _contents(lots.values(), version.dissolution)
    wanted = _determinations(version)
    return {
        pk: tuple(_certified(known[lot][d.element], d) for d in wanted if d.element in known[lot])
        for pk, lot in lots.items()
        if lot in known
    }


def added_contents(
    spiked: Iterable[tuple[TestPortion, Weighing]], version: MethodVersion
) -> dict[int, tuple[Held, ...]]:
    """What was added to spiked portions, in the unit and on the basis of the report, by key of the portion.

    Five queries. spiked: with the newest weighing; batch and sample are loaded with the portion.
    """
    pairs = [(p, w) for p, w in spiked if p.role == Role.SPIKE and w.spike_lot_id and p.subsample]
    if not pairs:
        return {}
    known = _contents({w.spike_lot_id for _, w in pairs}, "")
    bases = _bases(pairs)
    dried = moisture_of_samples({p.subsample.sample_id for p, _ in pairs})
    wanted = _determinations(version)
    found = {}
    for portion, weighing in pairs:
        sample = portion.subsample.sample
        held = known.get(weighing.spike_lot_id, {})
        try:
            prepared = portion_of(
                portion, weighing, version, held, bases.get(sample.pk), dried=dried.get((sample.pk, weighing.state))
            )
        except CalculationError as error:
            found[portion.pk] = (Held("", None, "", str(error)),)
            continue
        found[portion.pk] = tuple(_added(prepared, d) for d in wanted if d.element in held)
    return found


def _certified(content: Content, determination: Determination) -> Held:
    words = "certified" if content.is_certified else "indicative"
    try:
        value = certified_as_reported(content.value, content.unit, determination)
    except CalculationError:
        return Held(content.element_id, content.value, content.unit, words)
    return Held(determination.reported_as, value, determination.unit, words)


def _added(portion: Portion, determination: Determination) -> Held:
    basis = str(basis_of(portion, determination))
    try:
        return Held(
            determination.reported_as, added_as_reported(portion, determination), determination.unit, f"added, {basis}"
        )
    except CalculationError as error:
        return Held(determination.reported_as, None, determination.unit, str(error))


def _determinations(version: MethodVersion) -> list[Determination]:
    """What the version reports, in its order; one query."""
    return [
        Determination(row.element_id, row.reported_as, row.unit) for row in version.determinations.order_by("ordinal")
    ]


def _contents(lots: Iterable[int], dissolution: str) -> dict[int, dict[str, Content]]:
    """Contents by lot and element: of solutions, and as certified under a dissolution; one query."""
    found: dict[int, dict[str, Content]] = {}
    for row in Content.objects.filter(lot__in=set(lots), dissolution__in={"", dissolution}):
        found.setdefault(row.lot_id, {})[row.element_id] = row
    return found


def _bases(pairs: Iterable[tuple[TestPortion, Weighing]]) -> Mapping[int, Basis]:
    """What the sample of each portion is reported on: its own terms, else those of its submission; two queries."""
    samples = {p.subsample.sample_id: p.subsample.sample.submission_id for p, _ in pairs if p.subsample}
    rows = Request.objects.filter(submission__in=set(samples.values())).order_by("version")
    requests = {row.submission_id: row for row in rows}
    own = {
        row.sample_id: Basis(row.basis)
        for row in RequestedTerms.objects.filter(request__in=[row.pk for row in requests.values()], sample__in=samples)
    }
    return {
        sample: own.get(sample, Basis(requests[submission].basis))
        for sample, submission in samples.items()
        if submission in requests
    }
