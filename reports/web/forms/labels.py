"""Where labels stand on the sheet, and which of them are printed. Everything is in the address: a sheet can be kept."""

from collections.abc import Mapping
from typing import Any
from urllib.parse import parse_qsl, urlencode

from django import forms

from reports.labels import PAGES_MM, CannotLayOut, LabelSheet, Layout, NotOfThese, Span, choose, grid, single
from reports.queries.labels import Labelled, Picture, label_sheet, picture

SINGLE = "single"
MOST_LABELS = 1000
"""In one file: drawing takes about a hundredth of a second a label."""

_A4 = {"paper": "A4", "gap_across": "0", "gap_down": "0", "width": "", "height": ""}
_EACH = {"paper": SINGLE}
PRESETS: Mapping[str, Mapping[str, str]] = {
    "A4, 3 × 8": _A4 | {"columns": "3", "rows": "8", "top": "12.5", "bottom": "12.5", "left": "9", "right": "9"},
    "A4, 4 × 10": _A4 | {"columns": "4", "rows": "10", "top": "13.5", "bottom": "13.5", "left": "8", "right": "8"},
    "A4, 5 × 13": _A4
    | {"columns": "5", "rows": "13", "top": "11", "bottom": "11", "left": "5", "right": "5", "gap_across": "2.5"},
    "A4, 2 × 7": _A4
    | {"columns": "2", "rows": "7", "top": "15", "bottom": "15", "left": "5", "right": "5", "gap_across": "2"},
    "Letter, 3 × 10": _A4
    | {"columns": "3", "rows": "10", "top": "12.7", "bottom": "12.7", "left": "5", "right": "5", "gap_across": "3"}
    | {"paper": "Letter"},
    "50 × 25 mm": _EACH | {"width": "50", "height": "25"},
    "25 × 10 mm": _EACH | {"width": "25", "height": "10"},
    "100 × 50 mm": _EACH | {"width": "100", "height": "50"},
}
"""Grids by rows, columns and millimetres (proposals of this laboratory; common practice, no source)."""

USUAL = PRESETS["A4, 3 × 8"] | {"start": "1", "copies": "1"}
_REMEMBERED = (
    "paper",
    "columns",
    "rows",
    "width",
    "height",
    "top",
    "bottom",
    "left",
    "right",
    "gap_across",
    "gap_down",
)
_OF_SHEET = ("columns", "rows", "top", "bottom", "left", "right", "gap_across", "gap_down")


def _length(label: str, most: float, least: float = 0.0, **more: Any) -> forms.FloatField:
    return forms.FloatField(label=label, min_value=least, max_value=most, required=False, **more)


class LabelForm(forms.Form):
    """A sheet by paper, rows, columns and margins, or single labels by size; mm. `sheet` and `picture` when valid."""

    paper = forms.ChoiceField(label="Paper", choices=[*((name, name) for name in PAGES_MM), (SINGLE, "one a page")])
    columns = forms.IntegerField(label="Columns", min_value=1, max_value=20, required=False)
    rows = forms.IntegerField(label="Rows", min_value=1, max_value=60, required=False)
    top = _length("Top", 150)
    bottom = _length("Bottom", 150)
    left = _length("Left", 150)
    right = _length("Right", 150)
    gap_across = _length("Between columns", 50)
    gap_down = _length("Between rows", 50)
    width = _length("Width", 300, 5)
    height = _length("Height", 300, 5)
    only = forms.CharField(label="Only these", required=False)
    copies = forms.IntegerField(label="Copies of each", min_value=1, max_value=20)
    start = forms.IntegerField(label="First free place", min_value=1)
    cut_lines = forms.BooleanField(label="Hairlines to cut along, on plain paper", required=False)

    sheet: LabelSheet | None = None
    picture: Picture | None = None

    def __init__(self, given: Mapping[str, Any], of: Labelled, remembered: str = "") -> None:
        """given: as asked for. remembered: `kept_sheet` of the last sheet that was printed from this browser."""
        last = {name: value for name, value in parse_qsl(remembered) if name in _REMEMBERED}
        self.asked = {**USUAL, **last, **{name: given[name] for name in given if name in self.base_fields}}
        super().__init__(self.asked)
        self.of = of
        rows = f"{of.rows} numbers or rows: 3, 7-9. Empty: all {len(of.labels)}."
        self.fields["only"].help_text = rows[0].upper() + rows[1:]
        self.fields["start"].help_text = "On a part-used sheet, counted along the rows."

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if not self.errors:
            try:
                self._lay_out(given)
            except CannotLayOut as problem:
                for field, words in problem.problems:
                    self.add_error(field, words)
            except NotOfThese as missing:
                self.add_error("only", str(missing))
        return given

    def kept_sheet(self) -> str:
        """Where labels stand, for the next time; not which of them."""
        return urlencode({name: self.asked[name] for name in _REMEMBERED if self.asked.get(name)})

    def of_sheet(self) -> list[forms.BoundField]:
        """The fields that say where labels stand."""
        return [self[name] for name in _REMEMBERED]

    def sheet_errors(self) -> list[forms.BoundField]:
        """Those of them that cannot be."""
        return [field for field in self.of_sheet() if field.errors]

    def presets(self) -> list[tuple[str, str, bool]]:
        """Words, address and whether it is the one shown, of each grid at hand; which labels are chosen stays."""
        kept = {name: self.asked[name] for name in ("only", "copies", "cut_lines") if self.asked.get(name)}
        return [
            (words, urlencode({**values, **kept}), all(self.asked.get(key) == value for key, value in values.items()))
            for words, values in PRESETS.items()
        ]

    def parts(self) -> list[tuple[str, str]]:
        """Rows and address of each part of a job that is too long for one file, at whole sheets."""
        whole = MOST_LABELS // (getattr(self, "cleaned_data", {}).get("copies") or 1)
        firsts = range(1, len(self.of.labels) + 1, whole)
        ranges = [f"{first}-{min(first + whole - 1, len(self.of.labels))}" for first in firsts]
        return [(rows, urlencode({**self.asked, "only": rows})) for rows in ranges] if len(ranges) > 1 else []

    def _lay_out(self, given: Mapping[str, Any]) -> None:
        layout = _layout(given)
        chosen = choose(given["only"], [label.number for label in self.of.labels])
        if len(chosen) * given["copies"] > MOST_LABELS:
            raise CannotLayOut([("only", f"One file holds {MOST_LABELS} labels: print them in parts.")])
        if given["start"] > layout.a_page:
            raise CannotLayOut([("start", f"A page has {layout.a_page} places: begin at one of them.")])
        more = {name: given[name] for name in ("copies", "start", "cut_lines")}
        sheet = label_sheet(self.of, layout, chosen, **more)
        self.picture = picture(sheet)
        self.sheet = sheet


def _layout(given: Mapping[str, Any]) -> Layout:
    """The layout that is asked for. Raises CannotLayOut naming what is missing or does not fit."""
    needed = ("width", "height") if given["paper"] == SINGLE else _OF_SHEET
    missing = [(name, "Give it.") for name in needed if given.get(name) is None]
    if missing:
        raise CannotLayOut(missing)
    if given["paper"] == SINGLE:
        return single(given["width"], given["height"])
    across = Span(
        given["columns"], given["left"], given["right"], given["gap_across"], given["width"], "columns", "across"
    )
    down = Span(given["rows"], given["top"], given["bottom"], given["gap_down"], given["height"], "rows", "down")
    return grid(PAGES_MM[given["paper"]], across, down)
