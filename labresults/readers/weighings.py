"""Test portions as a balance or a bench sheet lists them: masses, volumes, dilutions."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from labresults.readers.delimited import decode
from labresults.readers.numbers import Unread, read_number
from labresults.readers.pasted import PastedRow, PastedTable, paste
from labresults.readers.problem import Problem
from labresults.readers.weighing_layout import WeighingHeadings, WeighingLayout


@dataclass(frozen=True)
class Amount:
    """A number with the text that it was read from. value None: words such as "1 + 9", which others read."""

    text: str
    value: float | None


@dataclass(frozen=True)
class Weighing:
    """One test portion. mass and solvent [g]; volume and aliquot [mL]; dilution [1]; moisture [%]. None: not given.

    mass_g: as listed, else gross less tare, exact as decimals.
    """

    row: int
    label: str
    mass_g: Amount | None
    volume_mL: Amount | None
    dilution: Amount | None
    moisture_percent: Amount | None
    solvent_g: Amount | None
    aliquot_mL: Amount | None
    tare_g: Amount | None = None
    final_g: Amount | None = None
    solution_kg_per_L: Amount | None = None
    internal_standard_g: Amount | None = None
    spike_mL: Amount | None = None

    def texts(self) -> dict[str, str]:
        """Return what is given by name, numbers with a point, as a person would type them; words as they are."""
        amounts = {name: getattr(self, name) for name in _BOUNDS if name != "gross_g"}
        return {name: _typed(name, amount) for name, amount in amounts.items() if amount}


@dataclass(frozen=True)
class WeighingFile:
    """All weighings that were understood, and every problem. Nothing is stored while there is one."""

    weighings: tuple[Weighing, ...]
    problems: tuple[Problem, ...]


# What is allowed, bounds: above the first (at least, where it may be reached), below the second. In the unit of the
# name.
_BOUNDS: dict[str, tuple[float, float]] = {
    "mass_g": (0.0, 1e5),
    "volume_mL": (0.0, 1e6),
    "dilution": (1.0, 1e9),
    "moisture_percent": (0.0, 100.0),
    "solvent_g": (0.0, 1e6),
    "aliquot_mL": (0.0, 1e6),
    "tare_g": (0.0, 1e5),
    "gross_g": (0.0, 1e5),
    "final_g": (0.0, 1e6),
    "solution_kg_per_L": (0.0, 25.0),
    "internal_standard_g": (0.0, 1e5),
    "spike_mL": (0.0, 1e4),
}
_LOWEST_ALLOWED = frozenset({"dilution", "moisture_percent", "tare_g"})
_WITH_UNIT = re.compile(r"(.*[0-9.,])\s*(mg|g|kg/L|mL|%)", re.DOTALL)


def read_weighings(content: bytes, layout: WeighingLayout | None = None) -> WeighingFile:
    """Return the weighings in a text table, and every problem by row and column. No file makes this fail.

    layout: None is the laboratory's own sheet, with the headings of `WeighingHeadings`.
    """
    layout = layout or WeighingLayout()
    decoded = decode(content, layout.encoding)
    if isinstance(decoded, Problem):
        return WeighingFile((), (decoded,))
    return weighings_of(paste(_from_headings(decoded[0], layout.heading_row)), layout)


def weighings_of(table: PastedTable, layout: WeighingLayout | None = None) -> WeighingFile:
    """Return the weighings in a pasted table, and every problem by row and column."""
    layout = layout or WeighingLayout()
    missing = _missing(table, layout.headings)
    if missing:
        return WeighingFile((), table.problems + missing)
    problems = list(table.problems)
    weighings = [_weighing(row, table, layout, problems) for row in table.rows]
    problems += _labels(weighings, layout.headings.label)
    return WeighingFile(tuple(weighings), tuple(sorted(problems, key=lambda problem: problem.row or 0)))


def _from_headings(text: str, heading_row: int) -> str:
    """The text with what stands before its headings blanked, so that rows keep their numbers."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    before = heading_row - 1
    return "\n".join([""] * min(before, len(lines)) + lines[before:])


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


def _weighing(row: PastedRow, table: PastedTable, layout: WeighingLayout, problems: list[Problem]) -> Weighing:
    amounts: dict[str, Amount | None] = dict.fromkeys(_BOUNDS)
    for name, heading in layout.headings.amounts().items():
        index = table.column(heading)
        if index is None or not row.cells[index].strip():
            continue
        amount = _amount(name, row.cells[index], layout)
        if isinstance(amount, Unread):
            problems.append(Problem(row.number, table.headings[index], amount.what, amount.what_to_do))
        else:
            amounts[name] = amount
    gross = amounts.pop("gross_g")
    if gross:
        amounts["mass_g"] = _net(row.number, gross, amounts, layout, problems)
    label = table.column(layout.headings.label)
    return Weighing(row.number, "" if label is None else row.cells[label].strip(), **amounts)


def _amount(name: str, text: str, layout: WeighingLayout) -> Amount | Unread:
    """Return an amount within its bounds; a dilution may be in words, which whoever computes reads.

    A unit behind a number is left out where it is the layout's own; milligrams become grams, exact as decimals.
    """
    bare, unit = _without_unit(text, name)
    if unit and unit != _unit_of(name, layout):
        return Unread(f"“{text.strip()}” is in {unit}, and the layout has {_unit_of(name, layout)}.", "Correct one.")
    number = read_number(bare, layout.decimal_sign)
    if isinstance(number, Unread):
        words = name == "dilution" and any(sign in text for sign in ("+", "in", "to", "x", "×", ":", "="))
        return Amount(text, None) if words else number
    if name.endswith("_g") and layout.mass_unit == "mg":
        text = format(_decimal(bare, layout) / 1000, "f")
        number = float(text)
    lowest, highest = _BOUNDS[name]
    enough = number >= lowest if name in _LOWEST_ALLOWED else number > lowest
    if enough and number < highest:
        return Amount(text, number)
    bound = f"{'at least' if name in _LOWEST_ALLOWED else 'above'} {lowest:g} and below {highest:g}"
    return Unread(f"{text.strip()} is not possible.", f"It must be {bound}. Weigh or measure again, or correct it.")


def _without_unit(text: str, name: str) -> tuple[str, str]:
    found = None if name == "dilution" else _WITH_UNIT.fullmatch(text.strip())
    return (found[1], found[2]) if found else (text, "")


def _unit_of(name: str, layout: WeighingLayout) -> str:
    if name.endswith("_g"):
        return layout.mass_unit
    return {"moisture_percent": "%", "solution_kg_per_L": "kg/L"}.get(name, "mL")


def _net(
    row: int, gross: Amount, amounts: dict[str, Amount | None], layout: WeighingLayout, problems: list[Problem]
) -> Amount | None:
    """The mass as gross less tare; beside a mass that is listed too, both must say the same to the last digit read."""
    heading, tare, listed = layout.headings.gross_g, amounts["tare_g"], amounts["mass_g"]
    if tare is None:
        problems.append(Problem(row, heading, "there is a gross mass and no tare.", "Give both, or the mass itself."))
        return listed
    exact = [_exact(amount, layout) for amount in (gross, tare)]
    net = exact[0] - exact[1]
    if net <= 0:
        what = f"the gross mass of {exact[0]} g is not above the tare of {exact[1]} g."
        problems.append(Problem(row, heading, what, "Weigh again, or correct it."))
        return listed
    if listed is None:
        return Amount(format(net, "f"), float(net))
    said = _exact(listed, layout)
    last_digit = max(Decimal(1).scaleb(int(number.as_tuple().exponent)) for number in (*exact, said))
    if abs(said - net) > 2 * last_digit:
        what = f"{said} g is listed, and gross less tare is {net} g."
        problems.append(Problem(row, heading, what, "Correct the one that is wrong."))
    return listed


def _exact(amount: Amount, layout: WeighingLayout) -> Decimal:
    """An amount as the decimal that it was written as, g."""
    text = amount.text if layout.mass_unit == "mg" else _without_unit(amount.text, "mass_g")[0]
    return _decimal(text, layout)


def _decimal(text: str, layout: WeighingLayout) -> Decimal:
    plain = re.sub(r"\s", "", text).replace("\u2212", "-")
    return Decimal(plain.replace(",", ".") if layout.decimal_sign == "," else plain)


def _typed(name: str, amount: Amount) -> str:
    """An amount as it is typed into a grid: a dilution that is a number is a factor."""
    if amount.value is None:
        return amount.text.strip()
    return f"x {amount.value!r}" if name == "dilution" else repr(amount.value)


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
