"""The way back of one result as a drawing: its stages, and the curve that it was read from."""

from collections.abc import Iterable
from datetime import datetime
from math import isfinite
from typing import Any

from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import SafeString, mark_safe

from labresults.plots.calibration import DrawnCurve, Standard, calibration_plot
from labresults.plots.lineage import Stage, Stands, lineage_plot
from labresults.queries.trace_pages import TracePage
from labresults.templatetags.quantities import figures, plain, things
from labresults.terms import Station, Verdict


def title_of(page: TracePage) -> str:
    """The question that the page answers."""
    if page.newest:
        return f"Why is this one {page.newest.printed} {page.newest.unit}?"
    if page.result.value is None:
        return "Why has this one no value?"
    return f"Why is this one {figures(page.result.value, 7)} {page.result.unit}?"


def lineage_of(page: TracePage) -> list[Stage]:
    """The stages that this result went through, in the order of the path."""
    stages = [_delivered(page), *_prepared(page), _measured(page), _judged(page)]
    return [stage for stage in (*stages, _issued(page)) if stage is not None]


def lineage_drawing(page: TracePage, stages: list[Stage]) -> SafeString:
    """The stages from left to right."""
    what = page.result.sample or page.result.position.label
    return _safe(lineage_plot(stages, f"Lineage of {page.result.reported_as} in {what}, {stages[-1].gives}"))


def calibration_drawing(page: TracePage) -> SafeString:
    """The curve with its standards and where this result was read; nothing where there is no curve."""
    curve = page.trace.calibration
    if curve is None or curve.problem:
        return _safe("")
    version = page.trace.evaluation.run.method_version
    address = reverse("run", args=[page.trace.evaluation.run.number])
    standards = tuple(
        Standard(
            row.position.number, row.made, row.read, row.residual_percent, row.used,
            f"{address}?at={row.position.number}#p{row.position.number}",
        )
        for row in page.curve
        if row.read is not None and isfinite(row.read)
    )  # fmt: skip
    drawn = DrawnCurve(
        line=f"{page.result.line} nm",
        coefficients=(curve.b0 or 0.0, curve.b1 or 0.0, curve.b2 or 0.0),
        weighting=f"{curve.curve}, {curve.weighting}",
        standards=standards,
        solution_unit=version.solution_unit,
        signal_unit="ratio" if version.internal_standard_id else version.signal_unit,
    )
    return _safe(calibration_plot(drawn))


def _safe(drawing: str) -> SafeString:
    return mark_safe(drawing)  # every text in it was escaped where it was drawn


def _moment(at: datetime) -> str:
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
            Stands(str(submission.received_by), f"received {_moment(submission.received_at)}", reverse("people")),
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
    people = Stands(str(weighing.made_by), f"weighed {_moment(weighing.observed_at)}", reverse("people"))
    taken = Stage(Station.PREPARATION, _taken(weighing), (people, *_balance(page), batch), batch.address)
    reagents = tuple(
        Stands(f"Lot {lot}", lot.material.name, reverse("lot", args=[lot.number])) for lot in page.trace.batch_reagents
    )
    diluted = "Not diluted" if weighing.dilution == 1 else f"Diluted × {plain(weighing.dilution)}"
    made_up = Stands(diluted, weighing.dilution_written or f"weighed {weighing.state}", batch.address)
    return [taken, Stage(Station.PREPARATION, _solution(page), (made_up, *reagents[:3]), batch.address)]


def _taken(weighing: Any) -> str:
    if weighing.mass_g is not None:
        return f"{plain(weighing.mass_g)} g"
    return f"{plain(weighing.aliquot_mL)} mL" if weighing.aliquot_mL is not None else "nothing taken"


def _solution(page: TracePage) -> str:
    """What the portion was made up to, and the whole dilution until it was measured."""
    weighing = page.trace.weighing
    total = (weighing.dilution if weighing else 1.0) * page.result.position.dilution
    if weighing and weighing.volume_mL is not None:
        return f"{plain(weighing.volume_mL)} mL × {plain(total)}"
    if weighing and weighing.solvent_g is not None:
        return f"+ {plain(weighing.solvent_g)} g × {plain(total)}"
    return f"× {plain(total)}"


def _balance(page: TracePage) -> Iterable[Stands]:
    weighing, check = page.trace.weighing, page.trace.balance_check
    if weighing is None or weighing.balance is None:
        return ()
    words = "no check on record"
    if check is not None:
        words = f"{'checked' if check.passed else 'failed'} {check.done_on.day} {check.done_on:%b %Y}"
    return (Stands(f"Balance {weighing.balance}", words, reverse("equipment-item", args=[weighing.balance.code])),)


def _measured(page: TracePage) -> Stage:
    found, run = page.trace, page.trace.evaluation.run
    address = reverse("run", args=[run.number])
    position = f"{address}?at={page.result.position.number}#p{page.result.position.number}"
    things_below = [Stands(f"{run}, position {page.result.position.number}", str(run.made_by), position)]
    if found.calibration:
        things_below.append(
            Stands(f"Curve of {things(found.calibration.count, 'point')}", f"{page.result.line} nm", "#curve")
        )
    else:
        things_below.append(Stands("Calibrated by the instrument", f"{page.result.line}"))
    stock = min(found.lots, key=lambda lot: lot.expires_on, default=None)
    if stock:
        until = f"good until {stock.expires_on.day} {stock.expires_on:%b %Y}"
        things_below.append(Stands(f"Standard {stock}", until, reverse("lot", args=[stock.number])))
    if found.file:
        things_below.append(
            Stands(found.file.name, f"sha256 {found.file.sha256[:4]}…{found.file.sha256[-4:]}", "#file")
        )
    return Stage(Station.RUNS, _read(page), tuple(things_below), position)


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
        below.append(Stands(str(review.made_by), f"{review.decision} {_moment(review.made_at)}", reverse("people")))
    gives = "no value" if result.value is None else f"{figures(result.value, 5)} {result.unit}"
    return Stage(Station.REVIEW, gives, tuple(below))


def _issued(page: TracePage) -> Stage | None:
    line = page.newest
    if line is None:
        return None
    certificate = line.certificate
    address = reverse("certificate", args=[certificate.number, certificate.issue])
    also = [f"issue {other.certificate.issue}" for other in page.trace.printed[1:]]
    return Stage(
        Station.CERTIFICATES,
        f"{line.printed} {line.unit}",
        (
            Stands(f"Rules {certificate.rule_set}", "how it is printed", address),
            Stands(str(certificate), f"also in {', '.join(also)}" if also else "printed once", address),
            Stands(str(certificate.made_by), f"issued {_moment(certificate.made_at)}", reverse("people")),
        ),
        address,
    )
