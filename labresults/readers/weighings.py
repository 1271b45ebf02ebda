"""Test portions as a balance or a bench sheet lists them: masses, volumes, dilutions."""

from collections.abc import Sequence
from dataclasses import dataclass

from labresults.readers.delimited import decode
from labresults.readers.layout import SNIFF
from labresults.readers.numbers import Unread, read_number
from labresults.readers.pasted import PastedRow, PastedTable, paste
from labresults.readers.problem import Problem


@dataclass(frozen=True)
class Amount:
    """A number with the text that it was read from. value None: words such as "1 + 9", which others read."""

    text: str
    value: float | None


@dataclass(frozen=True)
class Weighing:
    """One test portion. mass and solvent [g]; volume and aliquot [mL]; dilution [1]; moisture [%]. None: not given."""

    row: int
    label: str
    mass_g: Amount | None
    volume_mL: Amount | None
    dilution: Amount | None
    moisture_percent: Amount | None
    solvent_g: Amount | None
    aliquot_mL: Amount | None


@dataclass(frozen=True)
class WeighingFile:
    """All weighings that were understood, and every problem. Nothing is stored while there is one."""

    weighings: tuple[Weighing, ...]
    problems: tuple[Problem, ...]


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

    def amounts(self) -> dict[str, str]:
        """Return name -> heading of all amounts."""
        return {name: getattr(self, name) for name in _BOUNDS}


# What is allowed, bounds: above the first (at least, for a dilution), below the second. In the unit of the name.
_BOUNDS: dict[str, tuple[float, float]] = {
    "mass_g": (0.0, 1e5),
    "volume_mL": (0.0, 1e6),
    "dilution": (1.0, 1e9),
    "moisture_percent": (0.0, 100.0),
    "solvent_g": (0.0, 1e6),
    "aliquot_mL": (0.0, 1e6),
}
_LOWEST_ALLOWED = frozenset({"dilution", "moisture_percent"})


def read_weighings(
    content: bytes, headings: WeighingHeadings | None = None, decimal_sign: str = ".", encoding: str = SNIFF
) -> WeighingFile:
    """Return the weighings in a text table, and every problem by row and column. No file makes this fail."""
    decoded = decode(content, encoding)
    if isinstance(decoded, Problem):
        return WeighingFile((), (decoded,))
    return weighings_of(paste(decoded[0]), headings, decimal_sign)


def weighings_of(table: PastedTable, headings: WeighingHeadings | None = None, decimal_sign: str = ".") -> WeighingFile:
    """Return the weighings in a pasted table, and every problem by row and column."""
    headings = headings or WeighingHeadings()
    missing = _missing(table, headings)
    if missing:
        return WeighingFile((), table.problems + missing)
    problems = list(table.problems)
    weighings = [_weighing(row, table, headings, decimal_sign, problems) for row in table.rows]
    problems += _labels(weighings, headings.label)
    return WeighingFile(tuple(weighings), tuple(sorted(problems, key=lambda problem: problem.row or 0)))


def _missing(table: PastedTable, headings: WeighingHeadings) -> tuple[Problem, ...]:
    if not table.headings:
        return ()
    problems = []
    if table.column(headings.label) is None:
        what = "there is no column with this heading."
        problems.append(Problem(1, headings.label, what, f"The table has {', '.join(table.headings)}."))
    if all(table.column(heading) is None for heading in headings.amounts().values()):
        wanted = ", ".join(headings.amounts().values())
        problems.append(Problem(1, None, "there is no column with an amount.", f"Head at least one of {wanted}."))
    return tuple(problems)


def _weighing(
    row: PastedRow, table: PastedTable, headings: WeighingHeadings, decimal_sign: str, problems: list[Problem]
) -> Weighing:
    amounts: dict[str, Amount | None] = dict.fromkeys(_BOUNDS)
    for name, heading in headings.amounts().items():
        index = table.column(heading)
        if index is None or not row.cells[index].strip():
            continue
        amount = _amount(name, row.cells[index], decimal_sign)
        if isinstance(amount, Unread):
            problems.append(Problem(row.number, table.headings[index], amount.what, amount.what_to_do))
        else:
            amounts[name] = amount
    label = table.column(headings.label)
    return Weighing(row.number, "" if label is None else row.cells[label], **amounts)


def _amount(name: str, text: str, decimal_sign: str) -> Amount | Unread:
    """Return an amount within its bounds; a dilution may be in words, which whoever computes reads."""
    number = read_number(text, decimal_sign)
    if isinstance(number, Unread):
        words = name == "dilution" and any(sign in text for sign in ("+", "in", "x", "×", ":"))
        return Amount(text, None) if words else number
    lowest, highest = _BOUNDS[name]
    enough = number >= lowest if name in _LOWEST_ALLOWED else number > lowest
    if enough and number < highest:
        return Amount(text, number)
    bound = f"{'at least' if name in _LOWEST_ALLOWED else 'above'} {lowest:g} and below {highest:g}"
    return Unread(f"{text.strip()} is not possible.", f"It must be {bound}. Weigh or measure again, or correct it.")


def _labels(weighings: Sequence[Weighing], heading: str) -> list[Problem]:
    first: dict[str, int] = {}
    problems = []
    for weighing in weighings:
        if not weighing.label.strip():
            problems.append(Problem(weighing.row, heading, "the label is blank.", "Fill it in, or take the row out."))
        elif weighing.label in first:
            what = f"“{weighing.label}” is in row {first[weighing.label]} already."
            problems.append(Problem(weighing.row, heading, what, "Take one of them out."))
        first.setdefault(weighing.label, weighing.row)
    return problems
