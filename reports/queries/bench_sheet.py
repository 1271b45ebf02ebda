"""The sheet that lies beside the tubes of a batch, drawn from what is recorded; nothing is stored."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from labresults.queries.fire import charges_of
from labresults.queries.people import laboratory
from labresults.queries.preparation import Tube, departures_of, discarded_of, judge_mass, tubes_of
from labresults.queries.preparation import batch as find_batch
from labresults.terms import Role, SolutionKind, Verdict
from reports.paper import BenchRow, BenchSheet, Column, Notice
from reports.queries.labels import short_hazards, tube_code
from reports.queries.words import amount, date_in_words, moment_in_words
from reports.render.bench_sheet import render_bench_sheet

if TYPE_CHECKING:
    from labresults.models import FireCharge, MethodVersion, PreparationBatch, Weighing

WHO_DECIDES = "local codes and licensed practice decide"
DECIDES = f"The laboratory’s own risk assessment, {WHO_DECIDES}: this reminds, and no more."
NBSP = "\N{NO-BREAK SPACE}"
SIGNATURES = ("weighed by", "reagents added by", "made up by", "entered by")


@dataclass(frozen=True)
class _Field:
    """A figure of a weighing. `always`: a column stands even where nothing is recorded; kinds: None is every kind.

    `is_of_fire`: a figure of the fire assay; its charge is weighed without a vessel.
    """

    name: str
    heading: str
    unit: str
    kinds: frozenset[SolutionKind] | None
    always: bool = True
    is_of_fire: bool = False


_BY_MASS = frozenset({SolutionKind.MASS_IN_VOLUME, SolutionKind.MASS_IN_MASS})
_TO_VOLUME = frozenset({SolutionKind.MASS_IN_VOLUME, SolutionKind.VOLUME_IN_VOLUME})
_FIELDS = (
    _Field("tare_g", "Tare", "g", _BY_MASS),
    _Field("mass_g", "Mass", "g", _BY_MASS),
    _Field("crucible", "Crucible", "", _BY_MASS, is_of_fire=True),
    _Field("button_g", "Button", "g", _BY_MASS, is_of_fire=True),
    _Field("bead_mg", "Bead", "mg", _BY_MASS, is_of_fire=True),
    _Field("aliquot_mL", "Taken", "mL", frozenset({SolutionKind.VOLUME_IN_VOLUME})),
    _Field("volume_mL", "Volume", "mL", _TO_VOLUME),
    _Field("solvent_g", "Solvent", "g", frozenset({SolutionKind.MASS_IN_MASS})),
    _Field("final_g", "Solution", "g", None, always=False),
    _Field("internal_standard_g", "Int. std.", "g", None, always=False),
    _Field("moisture_percent", "Moisture", "%", None, always=False),
)


def bench_sheet_pdf(number: str, at: datetime, by: str) -> bytes:
    """The bench sheet of a batch, printed at `at` by somebody; about nine queries.

    Raises PreparationBatch.DoesNotExist, and what drawing raises.
    """
    return render_bench_sheet(bench_sheet(number, at, by))


def bench_sheet(number: str, at: datetime, by: str) -> BenchSheet:
    """Tubes, what is recorded of them, what is used for them; about nine queries."""
    batch, lab = find_batch(number), laboratory()
    zone = ZoneInfo(lab.time_zone if lab else "UTC")
    tubes, version = tubes_of(batch), batch.method_version
    cautions, charges = _of_method(version), charges_of(batch)
    fields, lost = _columns(version, tubes), list(discarded_of(batch))
    instead = {row.portion.tube: row.replaced_by.tube for row in lost if row.replaced_by}
    return BenchSheet(
        laboratory=lab.name if lab else "",
        number=batch.number,
        method=str(version),
        title=version.method.title,
        printed=f"{moment_in_words(at.astimezone(zone))}, printed by {by}",
        begun=f"begun {moment_in_words(batch.made_at.astimezone(zone))} by {batch.made_by}",
        tubes=f"{len(tubes)} tube{'' if len(tubes) == 1 else 's'}",
        heading=_heading(cautions),
        cautions=(*cautions, *_of_samples(tubes)),
        decides="" if any(WHO_DECIDES in caution.text for caution in cautions) else DECIDES,
        caution_read=f"Read and in place: {batch.made_by}." if batch.caution_read and version.hazards else "",
        facts=tuple(_facts(batch, tubes, at.astimezone(zone).date())),
        columns=tuple(Column(field.heading, _below(field, version)) for field in fields),
        usual_dilution=f"usually {version.dilution.replace('x ', '× ')}" if version.dilution else "",
        rows=tuple(_row(tube, charges.get(tube.portion.pk), fields, version, instead) for tube in tubes),
        lost=tuple(_lost(lost)),
        signatures=SIGNATURES,
    )


def _columns(version: "MethodVersion", tubes: Sequence[Tube]) -> list[_Field]:
    """The figures that this kind of solution needs, and any other that is recorded of a tube."""
    return [field for field in _FIELDS if _needed(field, version) or _recorded(field, tubes)]


def _needed(field: _Field, version: "MethodVersion") -> bool:
    kind, by_fire = SolutionKind(version.solution_kind), version.button_low_g is not None
    if field.name == "internal_standard_g":
        return kind is SolutionKind.MASS_IN_MASS and version.internal_standard_id is not None
    if field.is_of_fire or (field.name == "tare_g" and by_fire):
        return field.is_of_fire and by_fire
    return field.always and field.kinds is not None and kind in field.kinds


def _recorded(field: _Field, tubes: Sequence[Tube]) -> bool:
    return not field.is_of_fire and any(getattr(tube.weighing, field.name, None) is not None for tube in tubes)


def _below(field: _Field, version: "MethodVersion") -> str:
    if field.name == "mass_g" and version.mass_low_g is not None and version.mass_high_g is not None:
        return f"{amount(version.mass_low_g)}–{amount(version.mass_high_g)}{NBSP}g"
    if field.name == "volume_mL" and version.volume_mL is not None:
        return f"to {amount(version.volume_mL)}{NBSP}mL"
    if field.name == "button_g" and version.button_low_g is not None and version.button_high_g is not None:
        return f"{amount(version.button_low_g)}–{amount(version.button_high_g)}{NBSP}g"
    return field.unit


def _of_method(version: "MethodVersion") -> list[Notice]:
    """What the preparation may do to people, every word of it."""
    return [Notice(heading, words) for heading, words in version.hazards]


def _heading(cautions: Sequence[Notice]) -> str:
    """The dangers by their headings; a caution that only says who decides is no danger, and stands below."""
    return ". ".join(caution.about for caution in cautions if WHO_DECIDES not in caution.text)


def _of_samples(tubes: Sequence[Tube]) -> Iterator[Notice]:
    """What single samples may do, those that are alike together."""
    by_words: dict[str, list[str]] = {}
    for tube in tubes:
        if tube.hazards:
            by_words.setdefault(", ".join(tube.hazards), []).append(str(tube.portion.tube))
    for words, where in by_words.items():
        yield Notice(f"Tube{'' if len(where) == 1 else 's'} {', '.join(where)}", f"{words}.")


def _facts(batch: "PreparationBatch", tubes: Sequence[Tube], on: date) -> Iterator[Notice]:
    yield Notice("Balance", "; ".join(_balances(tubes)))
    lots = sorted(batch.reagents.all(), key=lambda lot: (lot.material.name, lot.number))
    yield Notice("Reagents", "; ".join(_lot(lot, on) for lot in lots))


def _balances(tubes: Sequence[Tube]) -> list[str]:
    """Balances that are on record, each with the check that stood then; one query a check."""
    used: dict[tuple[int, int | None], Any] = {}
    for tube in tubes:
        if tube.weighing and tube.weighing.balance:
            used.setdefault((tube.weighing.balance_id, tube.weighing.balance_check_id), tube.weighing)
    return [f"{row.balance}, {_check(row)}" for row in used.values()]


def _check(row: "Weighing") -> str:
    check = row.balance_check
    return (
        f"checked {date_in_words(check.done_on)}, next due {date_in_words(check.due_on)}"
        if check
        else "no check on record"
    )


def _lot(lot: Any, on: date) -> str:
    to = f"{'expired' if lot.expires_on < on else 'to'} {date_in_words(lot.expires_on)}"
    return f"{lot.material.name} {lot.number} ({to})"


def _row(
    tube: Tube,
    charge: "FireCharge | None",
    fields: Sequence[_Field],
    version: "MethodVersion",
    instead: Mapping[int, int],
) -> BenchRow:
    weighing = tube.weighing
    verdict = judge_mass(weighing.mass_g, version) if weighing else Verdict.NOT_JUDGED
    apart = departures_of(weighing.mass_g, weighing.volume_mL, version) if weighing else {}
    return BenchRow(
        tube=tube.portion.tube,
        label=tube.portion.label,
        code=tube_code(tube),
        what=_what(tube, instead),
        figures=tuple(_figure(charge if field.is_of_fire else weighing, field.name) for field in fields),
        dilution=_dilution(weighing),
        note="; ".join(_notes(tube, verdict)),
        is_control=tube.portion.role != Role.SAMPLE,
        is_outside=bool(apart),
    )


def _what(tube: Tube, instead: Mapping[int, int]) -> str:
    """What is in a tube, shorter than elsewhere: parents by the tube that holds them now, materials by their lot."""
    portion = tube.portion
    if portion.role in {Role.DUPLICATE, Role.SPIKE} and portion.parent:
        of = portion.parent.tube
        while of in instead:
            of = instead[of]
        return f"duplicate of tube {of}" if portion.role == Role.DUPLICATE else f"spike of tube {of}{_spiked(tube)}"
    if portion.lot:
        return f"{portion.lot}, {str(portion.role).removeprefix('certified ')}"
    return tube.what


def _spiked(tube: Tube) -> str:
    """With how much of which lot: as recorded, else as the method version asks for."""
    weighing, planned = tube.weighing, tube.portion.planned
    if weighing and weighing.spike_mL is not None:
        return f", {amount(weighing.spike_mL)} mL of {weighing.spike_lot}"
    if planned and planned.spike_mL is not None and planned.material:
        return f": {amount(planned.spike_mL)} mL of {planned.material}"
    return ""


def _figure(record: "Weighing | FireCharge | None", name: str) -> str:
    value = getattr(record, name) if record else None
    return "" if value is None else amount(value)


def _dilution(weighing: "Weighing | None") -> str:
    """As written, and the total factor; empty where nothing is recorded."""
    if weighing is None:
        return ""
    factor = f"× {amount(weighing.dilution)}"
    written = weighing.dilution_written
    return f"{written} = {factor}" if written and written.replace("x", "×") != factor else factor


def _notes(tube: Tube, verdict: Verdict) -> Iterator[str]:
    if tube.hazards:
        yield ", ".join(short_hazards(tube.hazards))
    if tube.weighing and tube.weighing.reason:
        yield tube.weighing.reason
    elif verdict in {Verdict.CLOSE, Verdict.OUTSIDE}:
        yield str(verdict)


def _lost(rows: Sequence[Any]) -> Iterator[Notice]:
    for row in rows:
        again = f"; taken again in tube {row.replaced_by.tube}" if row.replaced_by else ""
        yield Notice(f"Tube {row.portion.tube}, {row.portion.label}", f"lost: {row.reason}{again}.")
