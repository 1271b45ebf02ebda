"""Definitions as they are shipped, and results that stand at their terms; only what differs is said."""

import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from labresults.calculation.derived_formula import Input
from labresults.calculation.derived_terms import Definition, Term, terms_of
from labresults.terms import Basis, BelowInSum, DerivedForm

SHIPPED = Path(__file__).resolve().parents[2] / "fixtures" / "derived"


def shipped(code: str, **changes: Any) -> Definition:
    """A definition of fixtures/derived; `changes` where it is to differ."""
    raw = tomllib.loads((SHIPPED / f"{code}.toml").read_text(encoding="utf-8"))
    given = {
        "version": 1,
        "all_needed": raw.get("all_needed", True),
        **{name: raw[name] for name in ("code", "name", "reported_as", "unit", "source")},
        "remark": raw.get("remark", ""),
        "form": DerivedForm(raw["form"]),
        "below": BelowInSum(raw["below"]),
        "terms": terms_of(raw["terms"]),
    }
    return Definition(**(given | changes))


def found(definition: Definition, values: Mapping[str, float | None], unit: str, /, **common: Any) -> list[Input]:
    """A result for each term of these elements, in one unit, reported as themselves; the key tells elements apart.

    common: more of each input; a mapping there is by element.
    """
    keys = {element: place for place, element in enumerate(values, start=1)}
    return [
        Input(
            **{
                "term": place,
                "key": keys[term.element],
                "label": term.element,
                "reported_as": term.element,
                "unit": unit,
                "basis": Basis.AS_RECEIVED,
                "value": values[term.element],
            }
            | {name: one[term.element] if isinstance(one, Mapping) else one for name, one in common.items()}
        )
        for place, term in enumerate(definition.terms)
        if term.element in values
    ]


def a_set(rows: Sequence[tuple[float, float]], unit: str = "g/t", **common: Any) -> list[Input]:
    """Members of a set: mass, kg, and value."""
    return [
        Input(0, key, f"sample {key}", "Au", unit, Basis.AS_RECEIVED, value, mass_kg=mass_kg, **common)
        for key, (mass_kg, value) in enumerate(rows, start=1)
    ]


def a_sum(*elements: str, unit: str = "mg/L", below: BelowInSum = BelowInSum.ZERO, **changes: Any) -> Definition:
    """A plain sum of elements."""
    terms = tuple(Term("a", element, element, unit) for element in elements)
    given = {
        "code": "sum", "version": 1, "name": "Sum", "reported_as": "Sum", "unit": unit, "form": DerivedForm.SUM,
        "terms": terms, "below": below, "all_needed": True, "source": "by hand",
    }  # fmt: skip
    return Definition(**(given | changes))


def a_share(below: BelowInSum = BelowInSum.RANGE, unit: str = "%") -> Definition:
    """100 Cu / (Pb + Zn): copper is no part of what it is divided by."""
    terms = tuple(Term(part, element, element, "mg/kg") for part, element in (("a", "Cu"), ("b", "Pb"), ("b", "Zn")))
    return a_sum(unit=unit, below=below, form=DerivedForm.PERCENT, terms=terms)
