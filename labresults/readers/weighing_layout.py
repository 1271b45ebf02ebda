"""Which column of a balance's file means what: data, saved as a layout beside those of files of readings."""

import json
from dataclasses import asdict, dataclass, field, fields
from typing import Any

from labresults.readers.layout import SNIFF, BadLayout, is_encoding

MASS_UNITS = ("g", "mg")


@dataclass(frozen=True)
class WeighingHeadings:
    """The headings of the columns, compared whatever their case; only the label and one amount must be there."""

    label: str = "label"
    mass_g: str = "mass g"
    volume_mL: str = "volume mL"
    dilution: str = "dilution"
    moisture_percent: str = "moisture %"
    solvent_g: str = "solvent g"
    aliquot_mL: str = "aliquot mL"
    tare_g: str = "tare g"
    gross_g: str = "gross g"
    final_g: str = "final g"
    solution_kg_per_L: str = "density kg/L"
    internal_standard_g: str = "internal standard g"
    spike_mL: str = "spike mL"

    def amounts(self) -> dict[str, str]:
        """Return name -> heading of all amounts; an empty heading has no column."""
        return {name: heading for name, heading in asdict(self).items() if name != "label" and heading}


@dataclass(frozen=True)
class WeighingLayout:
    """One kind of file that a balance or a bench sheet writes.

    heading_row: counted from 1, what stands above is left out. mass_unit: of every mass in it, "g" or "mg"; the names
    of `WeighingHeadings` stay. A unit behind a number is read where it is the layout's own.
    """

    name: str = "bench sheet"
    headings: WeighingHeadings = field(default_factory=WeighingHeadings)
    decimal_sign: str = "."
    mass_unit: str = "g"
    encoding: str = SNIFF
    heading_row: int = 1

    def __post_init__(self) -> None:
        wrong = _wrong(self)
        if wrong:
            raise BadLayout(f"Layout “{self.name}”: {'; '.join(wrong)}.")

    def to_json(self) -> str:
        """Return the layout as text with sorted keys."""
        return json.dumps(asdict(self), ensure_ascii=False, sort_keys=True)

    @classmethod
    def from_json(cls, source: str) -> "WeighingLayout":
        """Read `to_json` back. Raises BadLayout when a setting is unknown or cannot be applied."""
        try:
            raw: dict[str, Any] = json.loads(source)
            headings = dict(raw.pop("headings", {}))
            unknown = set(raw) - {f.name for f in fields(cls)} | set(headings) - {
                f.name for f in fields(WeighingHeadings)
            }
            if unknown:
                raise BadLayout(f"Unknown settings: {', '.join(sorted(unknown))}. Take them out, or correct them.")
            return cls(headings=WeighingHeadings(**headings), **raw)
        except BadLayout:
            raise
        except (ValueError, TypeError, AttributeError) as problem:
            raise BadLayout(f"The layout cannot be read ({problem}). Correct the setting that is named.") from problem


def _wrong(layout: WeighingLayout) -> list[str]:
    wrong = []
    given = [text.casefold() for text in (layout.headings.label, *layout.headings.amounts().values())]
    if not layout.name:
        wrong.append("it needs a name")
    if not layout.headings.label or not layout.headings.amounts():
        wrong.append("name the heading of the label and of one amount at least")
    if len(set(given)) < len(given):
        wrong.append("one heading cannot mean two things")
    if layout.decimal_sign not in (".", ","):
        wrong.append("the decimal sign must be a point or a comma")
    if layout.mass_unit not in MASS_UNITS:
        wrong.append(f"masses are in {' or '.join(MASS_UNITS)}")
    if layout.heading_row < 1:
        wrong.append("rows count from 1, so the heading row must be 1 or more")
    if layout.encoding != SNIFF and not is_encoding(layout.encoding):
        wrong.append(f"the encoding “{layout.encoding}” is unknown: give utf-8, cp1252 or utf-16")
    return wrong
