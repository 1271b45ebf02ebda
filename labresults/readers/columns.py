"""Which column of a block holds what, by a layout; and the unit and factor of each column of readings."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from decimal import Decimal

from labresults.readers.blocks import Block
from labresults.readers.layout import Layout, Shape
from labresults.readers.problem import Problem
from labresults.readers.table import Headings
from labresults.readers.template import HeadingFit, LineNames
from labresults.readers.units import factor, plain_unit


@dataclass(frozen=True)
class LineColumns:
    """The columns of one line, from 0; in a long table the line stands in the row and `line` is empty.

    units: of a column, as it is written; a column without one is not there.
    """

    line: str
    replicates: tuple[int, ...] = ()
    mean: int | None = None
    sd: int | None = None
    count: int | None = None
    concentration: int | None = None
    units: dict[int, str] = field(default_factory=dict)

    def of_signal(self) -> tuple[int, ...]:
        """Every column whose numbers are in the unit of the readings."""
        return (*self.replicates, *(index for index in (self.mean, self.sd) if index is not None))


@dataclass(frozen=True)
class Factors:
    """What the numbers of one line are multiplied by, exactly, and the unit of the instrument's concentration.

    written: the unit of the signals as the file has it, where they are converted.
    """

    signal: Decimal = Decimal(1)
    concentration: Decimal = Decimal(1)
    concentration_unit: str = ""
    written: str = ""


def long_columns(layout: Layout, block: Block) -> LineColumns:
    """Return the columns of the readings of a long table, whose headings are there."""
    headings = block.headings

    def one(heading: str) -> int | None:
        return headings.all_of(heading)[0] if heading else None

    columns = LineColumns(
        line="",
        replicates=tuple(index for heading in layout.replicates for index in headings.all_of(heading)),
        mean=one(layout.mean),
        sd=one(layout.sd),
        count=one(layout.count),
        concentration=one(layout.concentration),
    )
    used = [index for index in (*columns.of_signal(), columns.concentration) if index is not None]
    named = (*layout.replicates, layout.mean, layout.sd, layout.concentration)
    units = {at: unit for at in used if (unit := _unit_in_row(block, at) or headings.unit_of(at, named))}
    return _with_lone_mean(replace(columns, units=units), layout)


def wide_columns(layout: Layout, block: Block) -> tuple[list[LineColumns], list[Problem]]:
    """Return the columns of each line of a wide table in their order; an unknown heading is asked about."""
    found = _WideHeadings(layout, block)
    for index, heading in enumerate(block.headings.texts):
        if heading not in found.known:
            found.take(index, heading)
    problems = found.problems
    if not found.lines:
        what = "no heading names a line."
        expected = layout.line_template
        problems.append(
            Problem(block.headings.row, None, what, "Correct the template of line headings.", expected=expected)
        )
    lines = []
    for line in found.lines.values():
        wrong = list(_incomplete(line, layout, block.headings))
        problems += wrong
        lines += [] if wrong else [_with_lone_mean(line, layout)]
    return lines, problems


class _WideHeadings:
    """Reads the headings of a wide table one by one."""

    def __init__(self, layout: Layout, block: Block) -> None:
        self.known = {*layout.headings(), *layout.ignored}
        self._layout, self._block = layout, block
        alone = layout.mean == layout.line_template  # what a line has is its mean
        templates = {
            "mean": layout.mean,
            "sd": layout.sd,
            "count": layout.count,
            "concentration": layout.concentration,
            "replicates": "" if alone else layout.line_template,
        }
        self._names = {kind: LineNames(text, layout.line_names) for kind, text in templates.items() if text}
        self._numbered: dict[tuple[str, int], int] = {}
        self.lines: dict[str, LineColumns] = {}
        self.problems: list[Problem] = []

    def take(self, index: int, heading: str) -> None:
        """Put a column where it belongs, or say what is wrong with it."""
        fits = {kind: fit for kind, names in self._names.items() if (fit := names.fit(heading))}
        if len(fits) > 1:  # a template with {unit} may take the words of another for a unit
            fits = {kind: fit for kind, fit in fits.items() if not fit.unit} or fits
        if heading in dict(self._layout.line_names):
            fits = {"replicates": fits["replicates"]}
        if not fits:
            what = "the heading is neither a line nor named in the layout."
            self._wrong(index, what, "Name its line, or put it among the ignored.")
        elif len(fits) > 1:
            self._wrong(index, f"the heading fits {' and '.join(fits)}.", "Change the templates in the layout.")
        else:
            kind, fit = next(iter(fits.items()))
            self._put(index, kind, fit)

    def _put(self, index: int, kind: str, fit: HeadingFit) -> None:
        line = self.lines.setdefault(fit.line, LineColumns(fit.line))
        known = line.replicates if kind == "replicates" else getattr(line, kind)
        if kind == "replicates":
            again = (fit.line, fit.n) in self._numbered and not self._layout.repeated_columns
            self._numbered.setdefault((fit.line, fit.n), index)
        else:
            again = known is not None
        if again:
            what = f"the line {fit.line} has more than one column."
            self._wrong(index, what, "Put one of them among the ignored, or say that columns are replicates.")
            return
        unit = _unit_in_row(self._block, index) or fit.unit
        units = line.units | ({index: unit} if unit else {})
        changed: dict[str, object] = {kind: index}
        if kind == "replicates":
            changed = {kind: tuple(sorted((*line.replicates, index), key=self._order))}
        self.lines[fit.line] = replace(line, units=units, **changed)  # type: ignore[arg-type]

    def _order(self, index: int) -> tuple[int, int]:
        return next((n for (_, n), at in self._numbered.items() if at == index), 0), index

    def _wrong(self, index: int, what: str, what_to_do: str) -> None:
        headings = self._block.headings
        expected = ", ".join(names.template for names in self._names.values())
        found = headings.texts[index]
        self.problems.append(Problem(headings.row, headings.name(index), what, what_to_do, found, expected))


def factors_of(line: LineColumns, layout: Layout, block: Block, said: str = "") -> Factors | list[Problem]:
    """Return the factors of one line, or a problem for each unit that does not lead to that of the layout.

    said: the unit that the row or a line above the table says; it is that of the concentrations where there are any.
    """
    problems = []
    signals = dict.fromkeys(line.units.get(index, "") for index in line.of_signal())
    if said and line.concentration is None:
        signals = dict.fromkeys([said])
    found = []
    for written in signals:
        number = factor(_meant(written, layout), layout.unit) if written else Decimal(1)
        found.append(number)
        if number is None or (len(signals) > 1 and number != found[0]):
            problems.append(_other_unit(line, written, layout.unit, block))
    of_signal = (found[0] if found else None) or Decimal(1)
    converted = "" if of_signal == 1 else next(iter(signals))
    if line.concentration is None:
        return problems or Factors(of_signal, written=converted)
    written = said or line.units.get(line.concentration, "")
    unit = layout.concentration_unit or _meant(written, layout)
    number = factor(_meant(written, layout), unit) if written else Decimal(1)
    if not unit:
        problems.append(_no_unit(line, block))
    elif number is None:
        problems.append(_other_unit(line, written, unit, block))
    return problems or Factors(of_signal, number or Decimal(1), unit, converted)


def _meant(written: str, layout: Layout) -> str:
    names = {plain_unit(word): unit for word, unit in layout.unit_names}
    return names.get(plain_unit(written), plain_unit(written))


def _other_unit(line: LineColumns, written: str, wanted: str, block: Block) -> Problem:
    index = next((at for at, unit in line.units.items() if unit == written), None)
    column = block.headings.name(index) if index is not None else None
    row = block.headings.row + (1 if block.units else 0)
    what = f"the unit is “{written or 'not said'}”, and the layout has {wanted}."
    remedy = "Say in the layout which unit this word means, or correct the unit of the layout."
    return Problem(row, column, what, remedy, written, wanted)


def _no_unit(line: LineColumns, block: Block) -> Problem:
    column = block.headings.name(line.concentration or 0)
    what = "nothing says the unit of the instrument's concentrations."
    return Problem(block.headings.row, column, what, "Name it in the layout.", expected="a unit such as mg/L")


def _with_lone_mean(line: LineColumns, layout: Layout) -> LineColumns:
    """A mean without spread and count is its own only replicate; a column of a wide table may be one of means."""
    alone = line.sd is None and line.count is None
    if line.mean is not None and alone and not line.replicates and layout.count_of_mean == 1:
        return replace(line, replicates=(line.mean,), mean=None)
    if layout.shape is Shape.WIDE and layout.count_of_mean > 1 and line.mean is None and len(line.replicates) == 1:
        return replace(line, mean=line.replicates[0], replicates=())
    return line


def _incomplete(line: LineColumns, layout: Layout, headings: Headings) -> Iterable[Problem]:
    """Say which line of a wide table has a spread or a concentration and no readings, or no count."""
    first = next(index for index in (line.sd, line.count, line.concentration, 0) if index is not None)
    if not line.of_signal() or (line.mean is None and not line.replicates):
        what = f"{line.line} has no column of readings."
        yield Problem(headings.row, headings.name(first), what, "Correct the templates in the layout.")
    elif line.sd is not None and not line.replicates and line.count is None and layout.count_of_mean < 2:
        what = f"nothing says how many replicates the standard deviation of {line.line} is of."
        yield Problem(headings.row, headings.name(line.sd), what, "Name its count in the layout, or count_of_mean.")


def _unit_in_row(block: Block, index: int) -> str:
    return block.units[index].strip() if index < len(block.units) else ""
