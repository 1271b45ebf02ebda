"""The stages of the way of one result, and what each of them stands on, down to readings and lots."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from django.urls import reverse
from django.utils import timezone

from labresults.plots.lineage import Stage, Stands
from labresults.queries.trace_pages import TracePage
from labresults.templatetags.quantities import factor, figures, plain, things
from labresults.terms import Station, Verdict

_MOST_LOTS = 3
"""So many lots of one kind are named on the drawing; all of them stand in the table below it."""


def lineage_of(page: TracePage) -> list[Stage]:
    """The stages that this result went through, in the order of the path."""
    stages = [_delivered(page), *_prepared(page), _measured(page), _judged(page)]
    return [stage for stage in (*stages, _issued(page)) if stage is not None]


def moment_of(at: datetime) -> str:
    """A moment as the drawing has room for it, in the laboratory's time."""
    local = timezone.localtime(at)
    return f"{local.day} {local:%b %H:%M}"


def _delivered(page: TracePage) -> Stage | None:
    sample = page.result.sample
    if sample is None:
        return None
    submission = sample.submission
    return Stage(
        Station.RECEPTION,
        sample.number,
        (
            Stands(sample.client_identification, "client’s own name", reverse("sample", args=[sample.number])),
            Stands(str(submission.received_by), f"received {moment_of(submission.received_at)}", reverse("people")),
            Stands(
                submission.number,
                str(sample.matrix),
                reverse("submission", args=[submission.number]),
            ),
        ),
        reverse("sample", args=[sample.number]),
    )


def _prepared(page: TracePage) -> list[Stage]:
    portion, weighing = page.result.position.portion, page.trace.weighing
    if portion is None:
        return []
    batch = Stands(
        f"Batch {portion.batch}", f"tube {portion.tube}, {portion.role}", reverse("batch", args=[portion.batch.number])
    )
    if weighing is None:
        return [Stage(Station.PREPARATION, portion.label, (batch,), batch.address)]
    people = Stands(str(weighing.made_by), f"weighed {moment_of(weighing.observed_at)}", reverse("people"))
    taken = Stage(
        Station.PREPARATION, _taken(weighing), (people, *_balance(page), *_moisture(page), batch), batch.address
    )
    reagents = tuple(_lots(page.trace.batch_reagents, 0, "reagent"))
    diluted = "Not diluted" if weighing.dilution == 1 else f"Diluted × {factor(weighing.dilution)}"
    made_up = Stands(diluted, weighing.dilution_written or f"weighed {weighing.state}", batch.address)
    return [taken, Stage(Station.PREPARATION, _solution(page), (made_up, *reagents), batch.address)]


def _taken(weighing: Any) -> str:
    if weighing.mass_g is not None:
        return f"{plain(weighing.mass_g)} g"
    return f"{plain(weighing.aliquot_mL)} mL" if weighing.aliquot_mL is not None else "nothing taken"


def _solution(page: TracePage) -> str:
    """What the portion was made up to, and the whole dilution until it was measured."""
    weighing = page.trace.weighing
    total = (weighing.dilution if weighing else 1.0) * page.result.position.dilution
    if weighing and weighing.volume_mL is not None:
        return f"{plain(weighing.volume_mL)} mL × {factor(total)}"
    if weighing and weighing.solvent_g is not None:
        return f"+ {plain(weighing.solvent_g)} g × {factor(total)}"
    return f"× {factor(total)}"


def _balance(page: TracePage) -> Iterator[Stands]:
    weighing, check = page.trace.weighing, page.trace.balance_check
    if weighing is None or weighing.balance is None:
        return
    address = reverse("equipment-item", args=[weighing.balance.code])
    yield Stands(f"Balance {weighing.balance}", weighing.balance.name, address)
    if check is None:
        yield Stands("No check", "on record", address, depth=1)
        return
    words = f"{'passed' if check.passed else 'failed'} {check.done_on.day} {check.done_on:%b %Y}, {check.made_by}"
    yield Stands(check.what.capitalize(), words, address, depth=1)


def _moisture(page: TracePage) -> Iterator[Stands]:
    """The drying, where the portion's moisture is from one."""
    dried, sample = page.trace.dried, page.result.sample
    if dried and sample:
        words = f"{dried.made_by}, {moment_of(dried.observed_at)}"
        yield Stands(f"Moisture {figures(dried.loss_percent, 4)} %", words, reverse("sample", args=[sample.number]))


def _lots(lots: list[Any], depth: int, kind: str) -> Iterator[Stands]:
    """The first few lots, and how many more there are."""
    for lot in lots[:_MOST_LOTS]:
        yield Stands(f"Lot {lot}", lot.material.name, reverse("lot", args=[lot.number]), depth)
    if (more := len(lots) - _MOST_LOTS) > 0:
        yield Stands(things(more, f"more {kind}"), "see the table", "#stands-on", depth)


def _measured(page: TracePage) -> Stage:
    found, run = page.trace, page.trace.evaluation.run
    address = reverse("run", args=[run.number])
    position = f"{address}?at={page.result.position.number}#p{page.result.position.number}"
    things_below = [Stands(f"{run}, position {page.result.position.number}", str(run.made_by), position)]
    if found.file:
        words = f"sha256 {found.file.sha256[:4]}…{found.file.sha256[-4:]}"
        things_below.append(Stands(found.file.name, words, "#file"))
        things_below.append(Stands(_replicates(page), f"loaded by {found.file.made_by}", "#file", depth=1))
    if found.calibration:
        below = f"{page.result.line} nm, {moment_of(found.evaluation.made_at)}"
        things_below.append(Stands(f"Curve of {things(found.calibration.count, 'point')}", below, "#curve"))
        things_below += _standards(page)
    else:
        things_below.append(Stands("Calibrated by the instrument", f"{page.result.line}"))
    return Stage(Station.RUNS, _read(page), tuple(things_below), position)


def _standards(page: TracePage) -> Iterator[Stands]:
    """Lots of the standards, and below them what those were made from."""
    found = page.trace
    on_curve = {position.lot_id for position in found.standards}
    yield from _lots([lot for lot in found.lots if lot.pk in on_curve], 1, "standard")
    yield from _lots([lot for lot in found.lots if lot.pk not in on_curve], 2, "parent lot")


def _replicates(page: TracePage) -> str:
    reading = page.trace.reading
    texts = ", ".join(reading.replicates) if reading else ""
    return texts or "no replicates"


def _read(page: TracePage) -> str:
    reading = page.trace.reading
    if reading is None or reading.missing:
        return "nothing read"
    if reading.saturated or reading.mean is None:
        return "over range"
    return f"{figures(reading.mean, 6)} {reading.file.unit}"


def _judged(page: TracePage) -> Stage:
    result, found = page.result, page.trace
    version = found.evaluation.run.method_version
    method = reverse("method", args=[version.method.code]) + f"?version={version.version}"
    chosen = "selected" if page.is_selected else "not selected" if result.is_candidate else result.position.role
    below = [Stands(str(version), chosen, method)]
    judged = [outcome for outcome in found.outcomes if outcome.verdict != Verdict.NOT_JUDGED]
    outside = sum(outcome.verdict == Verdict.OUTSIDE for outcome in judged)
    words = f"{outside} outside" if outside else "all within limits"
    below.append(Stands(things(len(judged), "control sample"), words if judged else "at this line", "#controls"))
    if result.expanded_u is not None:
        u = f"U = {figures(result.expanded_u, 2)}, k = {plain(result.coverage_factor)}"
        below.append(Stands(u, version.uncertainty_basis, method))
    if found.review:
        review = found.review.review
        below.append(Stands(str(review.made_by), f"{review.decision} {moment_of(review.made_at)}", reverse("people")))
    if result.solution is not None:
        below.insert(
            0, Stands(f"{figures(result.solution, 5)} {version.solution_unit}", "in the solution", "#arithmetic")
        )
    gives = "no value" if result.value is None else f"{figures(result.value, 5)} {result.unit}"
    return Stage(Station.REVIEW, gives, tuple(below))


def _issued(page: TracePage) -> Stage | None:
    if page.newest is None:
        return None
    also = [f"issue {other.certificate.issue}" for other in page.trace.printed[1:]]
    return issued_stage(page.newest, str(page.result.sample), also)


def issued_stage(line: Any, of: str, also: Sequence[str] = ()) -> Stage:
    """The last stage: a line of a certificate, printed of a sample or a set. also: where else it is printed."""
    certificate = line.certificate
    address = reverse("certificate", args=[certificate.number, certificate.issue])
    printed = reverse("printed-trace", args=[certificate.number, certificate.issue])
    printed += f"?{urlencode({'of': of, 'column': line.column})}"
    return Stage(
        Station.CERTIFICATES,
        f"{line.printed} {line.unit}",
        (
            Stands(f"Rules {certificate.rule_set}", "how it is printed", f"{printed}#printed"),
            Stands(str(certificate), f"also in {', '.join(also)}" if also else "printed once", address),
            Stands(str(certificate.made_by), f"issued {moment_of(certificate.made_at)}", reverse("people")),
        ),
        address,
    )
