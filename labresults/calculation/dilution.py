"""Written dilutions: volumes or masses, parts added, a part of a whole, or a factor. What is unclear is asked about.

The factor of a step is the amount made up divided by the amount taken, in one quantity (common practice, no source);
it is computed in exact fractions and rounded once. A step from a volume to a mass, or back, needs a density: of what
was weighed where the solution is measured in mg/L, of what was measured by volume where it is measured in mg/kg.
"""

import re
from dataclasses import dataclass
from fractions import Fraction

from labresults.calculation.errors import NeedsDensity, UnclearDilution

AGREES_WITHIN = Fraction(5, 1000)
"""How far a typed total may lie from the one of its steps, relative (common practice, no source)."""

_UNITS = {
    "ul": ("mL", Fraction(1, 1000)), "ml": ("mL", Fraction(1)), "l": ("mL", Fraction(1000)),
    "mg": ("g", Fraction(1, 1000)), "g": ("g", Fraction(1)), "kg": ("g", Fraction(1000)),
}  # fmt: skip
_NUMBER = r"(\d+(?:[.]\d+)?)"
_UNIT = r"\s*([µμu]?l|ml|[mk]?g)?"
_AMOUNTS = re.compile(
    rf"{_NUMBER}{_UNIT}\s*(\+|in|to)\s*{_NUMBER}{_UNIT}(?:\s*at\s*{_NUMBER}\s*(?:kg/L|g/mL))?", re.IGNORECASE
)
_FACTOR = re.compile(rf"[x×]\s*{_NUMBER}", re.IGNORECASE)
_RATIO = re.compile(rf"{_NUMBER}\s*[:/]\s*{_NUMBER}")


@dataclass(frozen=True)
class Step:
    """One step: its words in one form, and its factor [1], at least 1."""

    words: str
    factor: float


@dataclass(frozen=True)
class Dilution:
    """The total factor [1], at least 1, rounded once; the words that say how; and its steps in their order."""

    factor: float
    words: str
    steps: tuple[Step, ...] = ()


def parse_dilution(written: str) -> Dilution:
    """Return the factor of a written dilution, and its words in one form.

    "5 mL to 50 mL", "1.002 g to 10.015 g", "100 µL to 10 mL": an amount taken and made up, 10. "1 + 9": one part and
    nine parts added, 10. "1 in 10": one part of a whole of ten, 10. "x 10" or "× 10": 10. "2 mL to 19.9 g at 1.02
    kg/L": over a density. Several steps stand behind each other, separated by commas: "1 + 9, x 5" is 50. A total may
    stand behind them, "= x 50", and must agree within 0.5 %. Nothing written is not diluted.
    Raises UnclearDilution for "1:10", which is read both ways, for anything else, for a factor below one, and for a
    total that its steps do not give; NeedsDensity where a volume and a mass meet.
    """
    if not written.strip():
        return Dilution(1.0, "")
    said, _, claimed = written.partition("=")
    found = [_step(text.strip()) for text in said.split(",")]
    total = Fraction(1)
    for factor, _ in found:
        total *= factor
    if "=" in written:
        _refuse_other_total(claimed.strip(), total, written)
    words = ", ".join(words for _, words in found)
    return Dilution(float(total), words, tuple(Step(words, float(factor)) for factor, words in found))


def _step(text: str) -> tuple[Fraction, str]:
    """Factor and words of one step. Raises as `parse_dilution`."""
    factor, words = _read(text)
    if factor < 1:
        raise UnclearDilution(f"{text!r} makes a solution stronger, by {float(factor):.4g}. The other way round?")
    return factor, words


def _read(text: str) -> tuple[Fraction, str]:
    if found := _FACTOR.fullmatch(text):
        return Fraction(found[1]), f"× {found[1]}"
    if found := _AMOUNTS.fullmatch(text):
        return _of_amounts(found, text)
    if found := _RATIO.fullmatch(text):
        one, other = found.groups()
        raise UnclearDilution(
            f"{text!r} can be read in two ways. Is it {one} + {other} (parts added) or {one} in {other} "
            "(part of a whole)?"
        )
    raise UnclearDilution(
        f"{text!r} is not a dilution. Write 5 mL to 50 mL, 1 + 9, 1 in 10 or x 10; several steps with commas."
    )


def _of_amounts(found: re.Match[str], text: str) -> tuple[Fraction, str]:
    """Factor and words of an amount taken and another added or made up to; without units both are parts."""
    taken, taken_unit, how, made, made_unit, density = found.groups()
    how, given = how.lower(), [unit for unit in (taken_unit, made_unit) if unit]
    if len(given) == 1 or (how == "to" and not given):
        raise UnclearDilution(f"{text!r}: give both amounts with their units, as 5 mL to 50 mL or 1.002 g to 10.015 g.")
    if Fraction(taken) == 0:
        raise UnclearDilution(f"{text!r} takes no part of the solution. What was taken?")
    first, second = Fraction(taken), Fraction(made)
    if given:
        first, second = _in_one_quantity((first, _key(given[0])), (second, _key(given[1])), density, text)
    factor = (first + second) / first if how == "+" else second / first
    units = [f" {_printed(unit)}" for unit in given] or ["", ""]
    return factor, f"{taken}{units[0]} {how} {made}{units[1]}" + (f" at {density} kg/L" if density else "")


def _in_one_quantity(
    taken: tuple[Fraction, str], made: tuple[Fraction, str], density: str | None, text: str
) -> tuple[Fraction, Fraction]:
    """Both amounts in mL, or both in g: over the density [kg/L = g/mL] where one is a volume and one a mass."""
    (first, first_kind), (second, second_kind) = (
        (amount * _UNITS[unit][1], _UNITS[unit][0]) for amount, unit in (taken, made)
    )
    if first_kind == second_kind:
        return first, second
    if density is None:
        raise NeedsDensity(
            f"{text!r}: a volume and a mass meet here. Add the density of the solution, as {text} at 1.02 kg/L."
        )
    if Fraction(density) == 0:
        raise UnclearDilution(f"{text!r}: a density of nothing cannot be. Write the one measured.")
    return first, second * Fraction(density) if first_kind == "g" else second / Fraction(density)


def _refuse_other_total(claimed: str, total: Fraction, written: str) -> None:
    """Refuse a typed total that is none, or that the steps do not give."""
    found = _FACTOR.fullmatch(claimed)
    if not found:
        raise UnclearDilution(f"{written!r}: behind the = stands the total factor, as = x 100.")
    said = Fraction(found[1])
    if abs(said - total) > AGREES_WITHIN * total:
        raise UnclearDilution(
            f"{written!r}: the steps give × {float(total):.6g}, and × {found[1]} is written. Correct the one that is "
            "wrong, or leave the total out."
        )


def _key(unit: str) -> str:
    return unit.lower().replace("µ", "u").replace("μ", "u")


def _printed(unit: str) -> str:
    """A unit as it is printed."""
    return {"ul": "µL", "ml": "mL", "l": "L"}.get(_key(unit), _key(unit))
