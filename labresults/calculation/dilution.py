"""Written dilutions: parts added, a part of a whole, or a factor. What can be read in two ways is asked about."""

import re
from dataclasses import dataclass
from decimal import Decimal

from labresults.calculation.errors import UnclearDilution

_NUMBER = r"(\d+(?:[.]\d+)?)"
_ADDED = re.compile(rf"{_NUMBER}\s*\+\s*{_NUMBER}")
_PART = re.compile(rf"{_NUMBER}\s*in\s*{_NUMBER}", re.IGNORECASE)
_FACTOR = re.compile(rf"[x×]\s*{_NUMBER}", re.IGNORECASE)
_RATIO = re.compile(rf"{_NUMBER}\s*[:/]\s*{_NUMBER}")


@dataclass(frozen=True)
class Dilution:
    """The total factor [1], at least 1, exact as far as a decimal can be; and the words that say how."""

    factor: float
    words: str


def parse_dilution(written: str) -> Dilution:
    """Return the factor of a written dilution, and its words in one form.

    "1 + 9": one part and nine parts added, 10. "1 in 10": one part of a whole of ten, 10. "x 10" or "× 10": 10.
    Several steps stand behind each other, separated by commas: "1 + 9, x 5" is 50. Nothing written is not diluted.
    Raises UnclearDilution for "1:10", which is read both ways, for anything else, and for a factor below one.
    """
    if not written.strip():
        return Dilution(1.0, "")
    total, words = Decimal(1), []
    for text in (piece.strip() for piece in written.split(",")):
        factor, canonical = _step(text)
        if factor < 1:
            raise UnclearDilution(f"{text!r} makes a solution stronger, by {factor}. Write it the other way round?")
        total *= factor
        words.append(canonical)
    return Dilution(float(total), ", ".join(words))


def _step(text: str) -> tuple[Decimal, str]:
    if found := _ADDED.fullmatch(text):
        part, added = (Decimal(number) for number in found.groups())
        return _divide(part + added, part, text), f"{part} + {added}"
    if found := _PART.fullmatch(text):
        part, whole = (Decimal(number) for number in found.groups())
        return _divide(whole, part, text), f"{part} in {whole}"
    if found := _FACTOR.fullmatch(text):
        return Decimal(found[1]), f"× {found[1]}"
    if found := _RATIO.fullmatch(text):
        one, other = found.groups()
        raise UnclearDilution(
            f"{text!r} can be read in two ways. Is it {one} + {other} (parts added) or {one} in {other} "
            "(part of a whole)?"
        )
    raise UnclearDilution(f"{text!r} is not a dilution. Write 1 + 9, 1 in 10 or x 10; several steps with commas.")


def _divide(whole: Decimal, part: Decimal, text: str) -> Decimal:
    if part == 0:
        raise UnclearDilution(f"{text!r} takes no part of the solution. What was taken?")
    return whole / part
