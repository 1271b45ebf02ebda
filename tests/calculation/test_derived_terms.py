"""What derived results are made of: factors against published ones, formulas in words, flaws said where they are."""

from dataclasses import replace
from math import inf, nan
from typing import Any

import pytest

from labresults.calculation.derived import derive
from labresults.calculation.derived_terms import (
    Flaw,
    Term,
    below_in_words,
    conversion,
    factor_in_words,
    flaws_of,
    formula_in_words,
    terms_of,
)
from labresults.calculation.errors import UnknownCompound, UnlikeUnits
from labresults.terms import DerivedForm
from tests.calculation.derived_builders import SHIPPED, a_sum, found, shipped

CODES = sorted(path.stem for path in SHIPPED.glob("*.toml"))


@pytest.mark.parametrize(
    ("element", "to_as", "to_unit", "published", "places"),
    [
        # Standard Methods for the Examination of Water and Wastewater, 2340 B, as mg/L CaCO3
        ("Ca", "CaCO3", "mg/L", 2.497, 3),
        ("Mg", "CaCO3", "mg/L", 4.118, 3),
        # J. D. Hem, USGS Water-Supply Paper 2254 (1985), table 9: mg/L to milliequivalents per litre; from memory
        ("Ca", "Ca", "mmol(c)/L", 0.04990, 5),
        ("Mg", "Mg", "mmol(c)/L", 0.08229, 5),
        ("Na", "Na", "mmol(c)/L", 0.04350, 5),
        ("K", "K", "mmol(c)/L", 0.02558, 5),
        ("Al", "Al", "mmol(c)/L", 0.11119, 5),
    ],
)
def test_factors_follow_from_atomic_weights(
    element: str, to_as: str, to_unit: str, published: float, places: int
) -> None:
    assert round(conversion(element, element, "mg/L", to_as, to_unit), places) == published


@pytest.mark.parametrize(
    ("element", "from_as", "from_unit", "to_as", "to_unit", "factor"),
    [
        ("Ca", "Ca", "mg/L", "Ca", "mg/L", 1.0),
        ("Ca", "Ca", "ug/L", "Ca", "mg/L", 0.001),
        ("Al", "Al2O3", "%", "Al2O3", "mg/kg", 10_000.0),
        ("Al", "Al", "%", "Al2O3", "%", 1.8894),  # published oxide factor, tests/reference/oxide_factors.json
        ("K", "K2O", "%", "K", "%", 1 / 1.2046),
        ("Ca", "Ca", "cmol(+)/kg", "Ca", "mg/kg", 200.39),  # 10 M / z, M(Ca) = 40.078
        ("C", "C", "mg/L", "CaCO3", "mg/L", 8.3328),  # by atoms: the compound holds it; M 100.086 / 12.011
        ("Mg", "CaCO3", "mg/L", "Mg", "mmol(c)/L", 2 / 100.086),  # back from charges as CaCO3: two for each formula
        ("Cu", "Cu", "drops", "Cu", "drops", 1.0),  # what is the same needs no factor
    ],
)
def test_forms_and_units_are_brought_together(
    element: str, from_as: str, from_unit: str, to_as: str, to_unit: str, factor: float
) -> None:
    assert conversion(element, from_as, from_unit, to_as, to_unit) == pytest.approx(factor, rel=5e-5)


def test_mass_and_volume_are_not_mixed_and_words_say_what_to_do() -> None:
    with pytest.raises(UnlikeUnits, match="one is per mass, the other per volume"):
        conversion("Ca", "Ca", "mg/kg", "Ca", "mg/L")
    with pytest.raises(UnknownCompound, match="Cu is not an exchangeable cation"):
        conversion("Cu", "Cu", "mg/L", "CaCO3", "mg/L")


@pytest.mark.parametrize("code", CODES)
def test_every_shipped_definition_can_be_computed_and_names_its_source(code: str) -> None:
    definition = shipped(code)
    assert flaws_of(definition) == []
    assert len(definition.source) > 20
    assert definition.code == code


def test_formulas_in_words() -> None:
    assert formula_in_words(shipped("hardness")) == "Ca as CaCO3 + Mg as CaCO3, each in mg/L"
    assert formula_in_words(shipped("sar")) == "Na ÷ √((Ca + Mg) ÷ 2), each in mmol(c)/L"
    assert formula_in_words(shipped("dry-cu")) == "Cu ÷ (1 − moisture ÷ 100), moisture in %"
    assert formula_in_words(shipped("grade-au")) == "Σ (mass × Au) ÷ Σ mass, over the samples of a set, g/t"
    assert below_in_words(shipped("dry-cu")) == "A term below its detection limit counts as its limit."
    grade = "A sample below its detection limit counts as zero, and as its limit in what stands after <."
    assert below_in_words(shipped("grade-au")) == grade
    assert formula_in_words(shipped("base-saturation")).startswith("100 × (Ca + Mg + K + Na) ÷ (Ca")


@pytest.mark.parametrize(
    ("factor", "words"),
    [(1.0, "Ca"), (2.0, "2 × Ca"), (0.42141573, "0.42141573 × Ca"), (-0.421, "-0.421 × Ca"), (1e-7, "1e-07 × Ca")],
)
def test_a_factor_is_shown_with_every_figure_that_it_has(factor: float, words: str) -> None:
    assert Term("a", "Ca", "Ca", "mg/L", factor).words() == words
    assert float(factor_in_words(factor)) == factor


@pytest.mark.parametrize(
    ("changes", "term", "column", "what"),
    [
        ({"terms": (Term("c", "Ca", "Ca", "mg/L"),)}, 1, "part", "There is no part “c”."),
        ({"terms": (Term("a", "Qq", "Qq", "mg/L"),)}, 1, "element", "Qq is not an element."),
        ({"terms": (Term("a", "Ca", "SiO2", "mg/L"),)}, 1, "as", "SiO2 holds no Ca"),
        ({"terms": (Term("a", "Ca", "Ca", "ppm"),)}, 1, "unit", "'ppm' is not a unit"),
        ({"terms": (Term("a", "Ca", "Ca", "mg/L", 0.0),)}, 1, "factor", "A factor of 0 says nothing."),
        ({"terms": (Term("a", "Ca", "Ca", "mg/L"), Term("a", "Ca", "Ca", "mg/L"))}, None, "terms", "Ca stands twice"),
        ({"terms": (Term("b", "Ca", "Ca", "mg/L"),)}, None, "terms", "There is no term in part a."),
        ({"terms": (Term("a", "Ca", "Ca", "mg/L", inf),)}, 1, "factor", "A factor of inf says nothing."),
        ({"terms": (Term("a", "Ca", "Ca", "mg/L", nan),)}, 1, "factor", "A factor of nan says nothing."),
        ({"terms": (Term("a", "Ca", "Ca", "mg/L"), Term("b", "Mg", "Mg", "mg/L"))}, None, "terms", "has no part b."),
        ({"terms": (Term("a", "Ca", "Ca", "mg/L"), Term("a", "Mg", "Mg", "ug/L"))}, None, "terms", "mg/L and in ug/L"),
        ({"unit": "ug/L"}, None, "unit", "the result would be in ug/L"),
        ({"form": DerivedForm.PERCENT}, None, "terms", "needs terms in part b"),
        ({"form": DerivedForm.DRY}, None, "terms", "has one term"),
    ],
)
def test_what_is_wrong_with_a_definition_is_said_where_it_is(
    changes: dict[str, Any], term: int | None, column: str, what: str
) -> None:
    flaws: list[Flaw] = flaws_of(replace(a_sum("Ca", "Mg"), **changes))
    assert any(f.term == term and f.column == column and what in f.what and f.what_to_do for f in flaws), flaws


def test_units_are_looked_at_once_the_terms_are_right() -> None:
    # given a term of another unit, and one that is no element: the second is to be mended first
    definition = a_sum("Ca", "Mg", unit="ug/L")
    wrong = replace(definition, terms=(Term("a", "Ca", "Ca", "mg/L"), Term("a", "Qq", "Qq", "ug/L")))
    assert [(flaw.term, flaw.what) for flaw in flaws_of(wrong)] == [(2, "Qq is not an element.")]


def test_terms_are_read_as_a_file_gives_them() -> None:
    given = [
        {"element": "Ca", "unit": "mg/L"},
        {"part": "b", "element": "Al", "as": "Al2O3", "unit": "%", "factor": 2, "by": ["AR-7", "FD-4"]},
    ]
    assert terms_of(given) == (
        Term("a", "Ca", "Ca", "mg/L", 1.0, ()),
        Term("b", "Al", "Al2O3", "%", 2.0, ("AR-7", "FD-4")),
    )


def test_a_sum_may_take_something_away_and_no_other_form() -> None:
    """The oxygen that fluorine stands for is taken from a total of oxides: usual in geochemistry, no source."""
    terms = (Term("a", "Ca", "Ca", "%"), Term("a", "F", "F", "%", -0.421))
    definition = a_sum("Ca", unit="%", terms=terms)
    assert flaws_of(definition) == []
    assert derive(definition, found(definition, {"Ca": 10.0, "F": 1.0}, "%")).value == pytest.approx(9.579)
    share = replace(definition, form=DerivedForm.PERCENT, terms=(*terms, Term("b", "Ca", "Ca", "%")))
    assert [(flaw.term, flaw.column) for flaw in flaws_of(share)] == [(2, "factor")]
    half = replace(share, terms=(Term("a", "F", "F", "%", 0.5), Term("b", "Ca", "Ca", "%")))
    assert flaws_of(half) == []
