"""Labels of a submission's samples, and of a batch's tubes. Each function says how many database queries it makes."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from labresults.queries.people import laboratory
from labresults.queries.preparation import Tube, tubes_of
from labresults.queries.preparation import batch as find_batch
from labresults.queries.samples import requests_of, samples_of
from labresults.queries.samples import submission as find_submission
from labresults.terms import Role
from reports.labels import SHORT, CannotLayOut, Label, LabelSheet, Layout
from reports.queries.words import short_day
from reports.render.label_placing import PlacedLabel, TooSmall
from reports.render.labels import outlines, place_labels, render_labels
from reports.render.qr import QrPath, qr_path

if TYPE_CHECKING:
    from labresults.models import Sample

FILTERED = {True: ("field filtered", True), False: ("unfiltered", False), None: ("", False)}
"""Word on the label of a bottle, and whether it stands white on black: two bottles of one place are told apart."""


@dataclass(frozen=True)
class Labelled:
    """What labels can be printed of. `rows`: what a row is called, sample or tube."""

    number: str
    laboratory: str
    rows: str
    labels: tuple[Label, ...]


@dataclass(frozen=True)
class Picture:
    """A sheet before it is printed. `places`, `taken`: path data of the first page, mm; `elided`: numbers."""

    sheet: LabelSheet
    places: str
    taken: str
    first: PlacedLabel
    code: QrPath
    elided: tuple[str, ...]


def labels_of_submission(number: str) -> Labelled:
    """Labels in the order of the samples; the code is the laboratory number alone. Five queries.

    Raises Submission.DoesNotExist.
    """
    delivery = find_submission(number)
    foot = f"{delivery}, due {short_day(requests_of(delivery)[0].due_on)}"
    return Labelled(number, _laboratory(), "sample", tuple(_of_sample(row, foot) for row in samples_of(delivery)))


def labels_of_batch(number: str) -> Labelled:
    """Labels in the order of the tubes: the code of a sample is its laboratory number, of a control its label.

    Seven queries. Raises PreparationBatch.DoesNotExist.
    """
    on_bench = find_batch(number)
    foot = f"{on_bench}, {on_bench.method_version}"
    return Labelled(number, _laboratory(), "tube", tuple(_of_tube(tube, foot) for tube in tubes_of(on_bench)))


def label_sheet(
    of: Labelled, layout: Layout, chosen: Sequence[int], *, copies: int = 1, start: int = 1, cut_lines: bool = False
) -> LabelSheet:
    """The chosen labels on a sheet, copies beside each other; no query."""
    labels = tuple(of.labels[index] for index in chosen for _ in range(copies))
    return LabelSheet(f"Labels of {of.number}", of.laboratory, layout, labels, start, cut_lines)


def picture(sheet: LabelSheet) -> Picture:
    """A sheet as it will be printed, in small; no query. Raises CannotLayOut where a label has no room."""
    try:
        placed = list(place_labels(sheet))
    except TooSmall as small:
        raise CannotLayOut([("height", str(small))]) from small
    if not placed:
        raise CannotLayOut([("only", "There is nothing to print a label of.")])
    last = min(sheet.start - 1 + len(placed), sheet.layout.a_page)
    return Picture(
        sheet=sheet,
        places=outlines(sheet.layout),
        taken=outlines(sheet.layout, range(sheet.start - 1, last)),
        first=placed[0],
        code=qr_path(placed[0].code, error="m"),
        elided=tuple(dict.fromkeys(label.number for label in placed if label.is_elided)),
    )


def labels_pdf(sheet: LabelSheet) -> bytes:
    """The sheet as PDF; no query. Raises what drawing raises."""
    return render_labels(sheet)


def _laboratory() -> str:
    found = laboratory()
    return found.name if found else ""


def _of_sample(sample: "Sample", foot: str) -> Label:
    kind, heavy = FILTERED[sample.field_filtered]
    return Label(
        number=sample.number,
        code=sample.number,
        client_identification=sample.client_identification,
        kind=kind,
        heavy=heavy,
        hazards=short_hazards(sample.hazards),
        matter="; ".join(filter(None, [sample.matrix.name, sample.preservation])),
        foot=foot,
    )


def tube_code(tube: Tube) -> str:
    """What a scanner reads of a tube: the laboratory number of a sample, the label of a control sample; no query."""
    portion = tube.portion
    if portion.role == Role.SAMPLE and portion.subsample is not None:
        return str(portion.subsample.sample.number)
    return str(portion.label)


def short_hazards(hazards: Sequence[str]) -> tuple[str, ...]:
    """Hazards in few letters; no query."""
    return tuple(SHORT.get(hazard, str(hazard)) for hazard in hazards)


def _of_tube(tube: Tube, foot: str) -> Label:
    portion = tube.portion
    return Label(
        number=portion.label,
        code=tube_code(tube),
        client_identification=tube.what,
        kind=f"tube {portion.tube}",
        hazards=short_hazards(tube.hazards),
        foot=foot,
    )
