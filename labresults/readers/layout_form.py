"""The settings of a layout as a person answers them, each a text; and the layout that the answers make."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from labresults.readers.heading_words import line_heading
from labresults.readers.layout import DAY_FIRST, MONTH_FIRST, SNIFF, Applied, BadLayout, Blocks, Layout, Shape
from labresults.readers.problem import Problem
from labresults.readers.recognised import (
    DECIMALS_BY_WORD,
    DELIMITERS_BY_WORD,
    NO,
    OF_A_LINE,
    THOUSANDS_BY_WORD,
    YES,
    Column,
    Meaning,
    Recognised,
)


@dataclass(frozen=True)
class Setting:
    """One question. choices: (value, words), or none where a text is typed; many: several answers, one a line."""

    key: str
    words: str
    help: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    many: bool = False


_YES_NO = ((NO, "no"), (YES, "yes"))


def _as_they_are(words: Sequence[str]) -> tuple[tuple[str, str], ...]:
    return tuple((word, word) for word in words)


SETTINGS: tuple[Setting, ...] = (
    Setting("name", "Name of the layout"),
    Setting("unit", "Unit of the readings", "Such as counts/s, or mg/L where the numbers are concentrations."),
    Setting("concentration_unit", "Unit of the instrument's own concentrations", "Where the file has them beside."),
    Setting(
        "encoding",
        "Encoding",
        choices=(
            (SNIFF, "UTF-8, or what the mark at its beginning says"),
            *_as_they_are(("utf-8", "cp1252", "utf-16", "utf-16-le", "utf-16-be", "latin-1")),
        ),
    ),
    Setting("delimiter", "Cells are parted by", choices=_as_they_are(tuple(DELIMITERS_BY_WORD))),
    Setting("column_starts", "Places where columns of fixed width begin", "Counted from 1, such as 1 11 21."),
    Setting("sheet", "Sheet of the workbook", "Empty: the first one."),
    Setting("heading_row", "Row of the headings", "0: the first row that has all the headings."),
    Setting("units_row", "A row of units stands below the headings", choices=_YES_NO),
    Setting("decimal_sign", "Decimal sign", choices=_as_they_are(tuple(DECIMALS_BY_WORD))),
    Setting("thousands_sign", "Between thousands", choices=_as_they_are(tuple(THOUSANDS_BY_WORD))),
    Setting("empty_is_missing", "An empty cell means that nothing was read", choices=_YES_NO),
    Setting("missing", "Words for what was not read", "One a line.", many=True),
    Setting("over_range", "Words for over range", "One a line.", many=True),
    Setting("repeated_rows", "Rows of one position and line are its replicates", choices=_YES_NO),
    Setting("repeated_columns", "Columns of one line are its replicates", choices=_YES_NO),
    Setting("position_from_order", "Positions are numbered as they stand", choices=_YES_NO),
    Setting("blocks", "The headings come again further down", choices=(
        (Blocks.ONE, "no, they stand once"),
        (Blocks.MORE, "yes, with more rows or lines"),
        (Blocks.POSITION, "yes, for each position"),
        (Blocks.REPLICATE, "yes, for each replicate of the whole run"),
    )),
    Setting("count_of_mean", "Replicates behind each mean", "Where the file has means only and does not say."),
    Setting("date_order", "Dates such as 03/04/2026", choices=(
        ("", "do not occur"), (DAY_FIRST, DAY_FIRST), (MONTH_FIRST, MONTH_FIRST),
    )),
    Setting("end_word", "A row that begins so ends the table"),
    Setting("line_template", "How a line is named", "Such as {element} {wavelength} nm; empty: as the headings show."),
    Setting("line_names", "Lines by other names", "One a line, such as Copper = Cu 324.754.", many=True),
    Setting("unit_names", "What words for units mean", "One a line, such as ppm = mg/L.", many=True),
    Setting("applied", "Already in the numbers", choices=_as_they_are(tuple(Applied)), many=True),
)  # fmt: skip
"""Every question beside those about the columns and the lines above the table, in the order of a form."""

_ONE_COLUMN: Mapping[Meaning, str] = {
    Meaning.POSITION: "position",
    Meaning.LABEL: "label",
    Meaning.TIME: "time",
    Meaning.LINE: "line",
    Meaning.ELEMENT: "element",
    Meaning.WAVELENGTH: "wavelength",
    Meaning.UNIT: "unit_column",
    Meaning.MEAN: "mean",
    Meaning.SD: "sd",
    Meaning.COUNT: "count",
    Meaning.CONCENTRATION: "concentration",
}
_TEMPLATES: Mapping[Meaning, str] = {
    Meaning.LINE_READING: "line_template",
    Meaning.LINE_MEAN: "mean",
    Meaning.LINE_SD: "sd",
    Meaning.LINE_COUNT: "count",
    Meaning.LINE_CONCENTRATION: "concentration",
}


def layout_from(answers: Mapping[str, str], recognised: Recognised, version: int = 1) -> Layout | tuple[Problem, ...]:
    """Return the layout that the answers make, or every problem with them; a key that lacks is as not said.

    answers: by the keys of SETTINGS, of `recognised.columns` and of `recognised.above` (a Meaning each).
    """
    form = _Form(answers, recognised)
    settings = form.settings() | form.columns() | {"above": form.above(), "version": version}
    if form.problems:
        return tuple(form.problems)
    try:
        return Layout(**settings)
    except BadLayout as problem:
        return (Problem(None, None, str(problem), "Change the answers that it names."),)


def answers_of(layout: Layout) -> dict[str, str]:
    """Return the settings of a layout as answers; the columns are told by the file that it is tried on."""
    by_value = {sign: word for word, sign in DELIMITERS_BY_WORD.items()}
    return {
        "name": layout.name,
        "unit": layout.unit,
        "concentration_unit": layout.concentration_unit,
        "encoding": layout.encoding,
        "delimiter": by_value.get(layout.delimiter, ""),
        "column_starts": " ".join(map(str, layout.column_starts)),
        "sheet": layout.sheet,
        "heading_row": str(layout.heading_row),
        "units_row": _yes(layout.units_row),
        "decimal_sign": next(word for word, sign in DECIMALS_BY_WORD.items() if sign == layout.decimal_sign),
        "thousands_sign": next((w for w, sign in THOUSANDS_BY_WORD.items() if sign == layout.thousands_sign), "none"),
        "empty_is_missing": _yes("" in layout.missing),
        "missing": "\n".join(word for word in layout.missing if word),
        "over_range": "\n".join(layout.over_range),
        "repeated_rows": _yes(layout.repeated_rows),
        "repeated_columns": _yes(layout.repeated_columns),
        "position_from_order": _yes(layout.position_from_order),
        "blocks": str(layout.blocks),
        "count_of_mean": str(layout.count_of_mean),
        "date_order": layout.date_order,
        "end_word": layout.end_word,
        "line_template": layout.line_template,
        "line_names": "\n".join(f"{name} = {line}" for name, line in layout.line_names),
        "unit_names": "\n".join(f"{word} = {unit}" for word, unit in layout.unit_names),
        "applied": "\n".join(sorted(layout.applied)),
    }


def _yes(value: bool) -> str:
    return YES if value else NO


class _Form:
    """Turns answers into the arguments of a layout, and keeps what is wrong with them."""

    def __init__(self, answers: Mapping[str, str], recognised: Recognised) -> None:
        self._answers, self._recognised = answers, recognised
        self.problems: list[Problem] = []

    def settings(self) -> dict[str, Any]:
        """The settings that are not about single columns."""
        empty = ("",) if self._said("empty_is_missing", YES) == YES else ()
        return {
            "name": self._said("name"),
            "unit": self._said("unit"),
            "concentration_unit": self._said("concentration_unit"),
            "encoding": self._said("encoding", SNIFF),
            "delimiter": DELIMITERS_BY_WORD.get(self._said("delimiter"), SNIFF),
            "column_starts": self._starts(),
            "sheet": self._said("sheet"),
            "heading_row": self._number("heading_row", 1),
            "decimal_sign": DECIMALS_BY_WORD.get(self._said("decimal_sign"), "."),
            "thousands_sign": THOUSANDS_BY_WORD.get(self._said("thousands_sign"), ""),
            "missing": empty + self._lines("missing"),
            "over_range": self._lines("over_range"),
            "blocks": self._one_of("blocks", Blocks, Blocks.ONE),
            "count_of_mean": self._number("count_of_mean", 1),
            "date_order": self._said("date_order"),
            "end_word": self._said("end_word"),
            "line_names": self._pairs("line_names"),
            "unit_names": self._pairs("unit_names"),
            "applied": frozenset(self._one_of("applied", Applied, None, text) for text in self._lines("applied")),
        } | {
            key: self._said(key) == YES
            for key in ("units_row", "repeated_rows", "repeated_columns", "position_from_order")
        }

    def columns(self) -> dict[str, Any]:
        """What the columns are; each must be answered."""
        meant = [
            (column, self._meaning(column.key, column.heading or column.letter)) for column in self._recognised.columns
        ]
        wide = any(meaning in OF_A_LINE for _, meaning in meant)
        found: dict[str, Any] = {"shape": Shape.WIDE if wide else Shape.LONG}
        for meaning, name in _ONE_COLUMN.items():
            columns = [column for column, said in meant if said is meaning]
            if columns:
                found[name] = columns[0].heading
                self._only_one(columns, meaning)
        replicates = [column.heading for column, meaning in meant if meaning is Meaning.REPLICATE]
        found["replicates"] = tuple(dict.fromkeys(replicates))
        self._with_headings([column for column, meaning in meant if meaning not in (None, Meaning.IGNORED)])
        if wide:
            found |= self._templates(meant)
            found["ignored"] = tuple(c.heading for c, meaning in meant if meaning is Meaning.IGNORED and c.heading)
        elif template := self._said("line_template"):
            found["line_template"] = template
        return found

    def above(self) -> tuple[tuple[str, str], ...]:
        """What the lines above the table say, by their words."""
        said = [(line, self._meaning(line.key, line.word, Meaning.IGNORED)) for line in self._recognised.above]
        return tuple((line.word, str(meaning)) for line, meaning in said if meaning and meaning is not Meaning.IGNORED)

    def _templates(self, meant: Sequence[tuple[Column, Meaning | None]]) -> dict[str, str]:
        found = {}
        listed = dict(self._pairs("line_names"))
        for meaning, name in _TEMPLATES.items():
            columns = [column for column, said in meant if said is meaning and column.heading not in listed]
            named = {column.heading: line_heading(column.heading) for column in columns}
            templates = dict.fromkeys(fit.template for fit in named.values() if fit)
            typed = self._said("line_template") if meaning is Meaning.LINE_READING else ""
            if typed or templates:
                found[name] = typed or next(iter(templates))
            if len(templates) > 1 and not typed:
                what = f"the headings of “{meaning}” are written in different ways: {', '.join(templates)}."
                self._wrong(None, what, "Ignore some of the columns, or give their lines other names.")
            for heading in [heading for heading, fit in named.items() if not fit and not typed]:
                self._wrong(heading, "the heading names no line.", f"Add a line such as {heading} = Cu 324.754.")
        return {"line_template": found["mean"]} | found if "mean" in found else found

    def _said(self, key: str, otherwise: str = "") -> str:
        return self._answers.get(key, "").strip() or otherwise

    def _lines(self, key: str) -> tuple[str, ...]:
        return tuple(dict.fromkeys(line.strip() for line in self._said(key).splitlines() if line.strip()))

    def _pairs(self, key: str) -> tuple[tuple[str, str], ...]:
        pairs = [tuple(part.strip() for part in line.rpartition("=")[::2]) for line in self._lines(key)]
        for one, other in pairs:
            if not (one and other):
                self._wrong(None, f"“{one or other}” is not of the form word = meaning.", "Write it so.", once=True)
        return tuple((one, other) for one, other in pairs if one and other)

    def _number(self, key: str, otherwise: int) -> int:
        text = self._said(key)
        if text.isascii() and (text or "0").isdecimal() and len(text) < 8:
            return int(text) if text else otherwise
        self._wrong(None, f"“{text}” is not a whole number.", "Write it as 1, 2, 3.")
        return otherwise

    def _starts(self) -> tuple[int, ...]:
        if DELIMITERS_BY_WORD.get(self._said("delimiter")) != DELIMITERS_BY_WORD["fixed width"]:
            return ()
        words = self._said("column_starts").replace(",", " ").split()
        wrong = [word for word in words if not (word.isascii() and word.isdecimal() and len(word) < 6)]
        if wrong:
            self._wrong(None, f"“{wrong[0]}” is not the place of a column.", "Write places as 1 11 21.")
        return tuple(int(word) for word in words if word not in wrong)

    def _one_of(self, key: str, kind: Callable[[str], Any], otherwise: Any, text: str | None = None) -> Any:
        said = self._said(key) if text is None else text
        try:
            return kind(said) if said else otherwise
        except ValueError:
            self._wrong(None, f"“{said}” is not an answer for {key.replace('_', ' ')}.", "Choose one that is offered.")
            return otherwise

    def _meaning(self, key: str, shown: str, otherwise: Meaning | None = None) -> Meaning | None:
        said = self._said(key)
        if said in tuple(Meaning):
            return Meaning(said)
        if otherwise is None:
            self._wrong(shown, "nobody has said what this column is.", "Choose what it is, or that it is ignored.")
        return otherwise

    def _only_one(self, columns: Sequence[Column], meaning: Meaning) -> None:
        for column in columns[1:]:
            what = f"“{columns[0].heading}” is the {meaning} already."
            self._wrong(column.heading, what, "Choose one of the two, and ignore the other.")

    def _with_headings(self, columns: Sequence[Column]) -> None:
        for column in columns:
            if not column.heading:
                self._wrong(column.letter, "the column has no heading.", "Ignore it, or choose another heading row.")

    def _wrong(self, column: str | None, what: str, what_to_do: str, once: bool = False) -> None:
        problem = Problem(None, column, what, what_to_do, file=self._recognised.filename)
        if not once or problem not in self.problems:
            self.problems.append(problem)
