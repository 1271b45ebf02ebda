"""Elements as compounds: the factors follow from the atomic weights of a named edition, never from a printed table."""

import re
from collections import Counter
from functools import cache

from labresults.calculation.atomic_weights.ciaaw_2024 import EDITION, ELEMENTS
from labresults.calculation.errors import UnknownCompound

WEIGHTS_EDITION = EDITION
"""Name of the edition that every factor here stands on: kept beside each of them."""

CATIONS = {"Na": 1, "K": 1, "Mg": 2, "Ca": 2, "Al": 3}
"""Charge of the exchangeable cations of soil (ISO 11260:2018 names Na, K, Mg, Ca; Al: common practice, no source)."""

_PIECE = re.compile(r"([A-Z][a-z]?)|(\()|(\))|(\d+)")


@cache
def parse_formula(formula: str) -> tuple[tuple[str, int], ...]:
    """Return how many atoms of each element a formula holds, in the order of their first mention.

    Parentheses may nest: "Ca3(PO4)2" gives Ca 3, P 2, O 8.
    Raises UnknownCompound when the formula cannot be read or names an element without a standard atomic weight.
    """
    pieces = _PIECE.findall(formula)
    if not pieces or "".join("".join(piece) for piece in pieces) != formula:
        raise UnknownCompound(f"{formula!r} cannot be read as a formula. Write it as Al2O3 or Ca3(PO4)2.")
    levels: list[Counter[str]] = [Counter()]
    last: Counter[str] = Counter()
    for symbol, opening, closing, count in pieces:
        if opening:
            levels.append(Counter())
            last = Counter()
        elif count:
            _add(levels[-1], last, int(count) - 1, formula)
            last = Counter()
        else:
            last = Counter({_known(symbol, formula): 1}) if symbol else _closed(levels, closing, formula)
            levels[-1].update(last)
    if len(levels) != 1:
        raise UnknownCompound(f"{formula!r} has a parenthesis that is never closed.")
    return tuple(levels[0].items())


def _add(level: Counter[str], last: Counter[str], times: int, formula: str) -> None:
    if not last or times < 0:
        raise UnknownCompound(f"{formula!r} has a number that counts nothing.")
    for symbol, atoms in last.items():
        level[symbol] += atoms * times


def _known(symbol: str, formula: str) -> str:
    if symbol not in ELEMENTS:
        raise UnknownCompound(f"{formula!r}: {symbol} is not an element with a weight in {EDITION}.")
    return symbol


def _closed(levels: list[Counter[str]], closing: str, formula: str) -> Counter[str]:
    if not closing or len(levels) == 1:
        raise UnknownCompound(f"{formula!r} closes a parenthesis that it never opened.")
    return levels.pop()


@cache
def formula_weight(formula: str) -> float:
    """Return the weight of one formula unit [1], from the standard atomic weights of `WEIGHTS_EDITION`.

    Raises UnknownCompound.
    """
    return sum(ELEMENTS[symbol].weight * atoms for symbol, atoms in parse_formula(formula))


@cache
def compound_factor(compound: str, element: str) -> float:
    """Return what a content of the element is multiplied by to be a content of the compound [1].

    M(compound) / (n M(element)); exactly 1 where the compound is the element.
    Raises UnknownCompound when the compound cannot be read or does not hold the element.
    """
    atoms = dict(parse_formula(compound)).get(element)
    if atoms is None:
        raise UnknownCompound(f"{compound} holds no {element}: report {element} as itself or as a compound of it.")
    if compound == element:
        return 1.0
    return formula_weight(compound) / (ELEMENTS[element].weight * atoms)


@cache
def oxide_factor(oxide: str, element: str) -> float:
    """Return the factor from an element to its oxide [1], (n M(E) + m M(O)) / (n M(E)).

    Raises UnknownCompound when the formula is not an oxide of that element alone.
    """
    if set(dict(parse_formula(oxide))) != {element, "O"}:
        raise UnknownCompound(f"{oxide} is not an oxide of {element} alone.")
    return compound_factor(oxide, element)


def charge_factor(element: str) -> tuple[str, float]:
    """Return the cation in words, and what its mg/kg are multiplied by to be cmol(+)/kg [1]: z / (10 M).

    One centimole of charge is M / z hundredths of a gram: 10 M / z mg.
    Raises UnknownCompound for what is no exchangeable cation, an oxide for example.
    """
    charge = CATIONS.get(element)
    if charge is None:
        raise UnknownCompound(f"{element} is not an exchangeable cation: cmol(+)/kg is for {', '.join(CATIONS)}.")
    ion = f"{element}{'' if charge == 1 else charge}+"
    return ion, charge / (10.0 * ELEMENTS[element].weight)
