"""What headings of files of readings say in plain words, and how a heading of a wide table names its line."""

import re
from dataclasses import dataclass

from labresults.readers.limits import LONGEST_HEADING
from labresults.readers.recognised import Meaning
from labresults.readers.units import is_concentration

# Ordinary words of the trade, in no instrument's own form: common practice, no source.
_WORDS: dict[Meaning, tuple[str, ...]] = {
    Meaning.POSITION: ("position", "pos", "place", "cup", "tube", "no", "nr", "number", "seq", "sequence"),
    Meaning.LABEL: ("label", "name", "sample", "solution", "id", "identification", "identity"),
    Meaning.TIME: ("time", "date", "measured", "read at"),
    Meaning.LINE: ("line", "analyte", "channel"),
    Meaning.ELEMENT: ("element", "symbol", "el"),
    Meaning.WAVELENGTH: ("wavelength", "nm", "lambda", "λ"),
    Meaning.UNIT: ("unit", "units"),
    Meaning.MEAN: ("mean", "average", "avg"),
    Meaning.SD: ("sd", "std", "stdev", "standard deviation", "s"),
    Meaning.COUNT: ("n", "count", "replicates"),
    Meaning.CONCENTRATION: ("conc", "concentration", "content"),
    Meaning.REPLICATE: ("reading", "replicate", "rep", "repeat", "intensity", "signal", "counts"),
}
_OF_A_LINE = {
    Meaning.MEAN: Meaning.LINE_MEAN,
    Meaning.SD: Meaning.LINE_SD,
    Meaning.COUNT: Meaning.LINE_COUNT,
    Meaning.CONCENTRATION: Meaning.LINE_CONCENTRATION,
}
SIGNAL_UNITS = ("counts/s", "cps", "c/s", "counts", "kcounts/s", "kcps")

_SYMBOLS = (
    "H He Li Be B C N O F Ne Na Mg Al Si P S Cl Ar K Ca Sc Ti V Cr Mn Fe Co Ni Cu Zn Ga Ge As Se Br Kr Rb Sr Y Zr Nb Mo"
    " Ru Rh Pd Ag Cd In Sn Sb Te I Xe Cs Ba La Ce Pr Nd Sm Eu Gd Tb Dy Ho Er Tm Yb Lu Hf Ta W Re Os Ir Pt Au Hg Tl Pb"
    " Bi Th U"
)
SYMBOLS = frozenset(_SYMBOLS.split())
_LINE = re.compile(
    r"(?<![A-Za-z])(?P<element>[A-Z][a-z]?)(?P<between>[ _:/-]{0,3})"
    r"(?P<wavelength>[1-9][0-9]{2}(?:[.,][0-9]+)?)(?![0-9])"
)
_NUMBERED = re.compile(
    r"(?P<before>.*?(?:#|\(|\[|\brep(?:licate)?\.?|\bR)\s*)(?P<n>[1-9][0-9]?)(?P<after>[)\]]?\s*)$", re.I
)
_IN_BRACKETS = re.compile(r"[(\[]\s*(?P<unit>[^()\[\]]+?)\s*[)\]]")


@dataclass(frozen=True)
class LineHeading:
    """What a heading such as "Cu 324.754 SD" names: its line, the template it fits, and what its column holds."""

    line: str
    template: str
    meaning: Meaning


def word_meaning(heading: str) -> Meaning | None:
    """Return what a heading says in plain words, or None."""
    heading = heading[:LONGEST_HEADING]
    words = _plain_words(heading)
    for meaning, known in _WORDS.items():
        if words in known:
            return meaning
    numbered = re.sub(r"\s*#?\s*[0-9]+$", "", words)
    if numbered != words and (not numbered or numbered in (*_WORDS[Meaning.REPLICATE], "r", "x")):
        return Meaning.REPLICATE
    for meaning, known in _WORDS.items():
        if set(words.split()) & {word for word in known if len(word) > 2}:
            return meaning
    return None


def unit_in(heading: str) -> str:
    """Return the unit in the brackets of a heading, or "" where there is none."""
    units = (found["unit"] for found in _IN_BRACKETS.finditer(heading[:LONGEST_HEADING]))
    return next((unit for unit in units if is_unit(unit)), "")


def is_unit(text: str) -> bool:
    """Whether a text is a unit of concentration or a usual one of signals."""
    return is_concentration(text) or text.strip().casefold() in SIGNAL_UNITS or text.strip() in ("ppm", "ppb")


def line_heading(heading: str) -> LineHeading | None:
    """Return what a heading names a line as, with the template that it fits; None where it names none."""
    if len(heading) > LONGEST_HEADING:
        return None
    found = next((match for match in _LINE.finditer(heading) if match["element"] in SYMBOLS), None)
    if not found:
        return None
    before, after = heading[: found.start()], heading[found.end() :]
    meaning = _OF_A_LINE.get(word_meaning(f"{before} {after}") or Meaning.IGNORED, Meaning.LINE_READING)
    unit = unit_in(after)
    if unit:
        after = after.replace(unit, "{unit}", 1)
        if is_concentration(unit) and meaning is Meaning.LINE_READING and _plain_words(before + after):
            meaning = Meaning.LINE_CONCENTRATION
    if numbered := _NUMBERED.fullmatch(after):
        after = f"{numbered['before']}{{n}}{numbered['after']}"
    template = f"{before}{{element}}{found['between']}{{wavelength}}{after}".strip()
    return LineHeading(f"{found['element']} {found['wavelength'].replace(',', '.')}", template, meaning)


def _plain_words(heading: str) -> str:
    bare = _IN_BRACKETS.sub(" ", heading)
    return " ".join(re.sub(r"[._:;#/-]+", " ", bare).split()).casefold()
