"""Derived results: worked examples, what is below or over its range, limits and U."""

from dataclasses import replace
from math import inf
from typing import Any

import pytest

from labresults.calculation.derived import derive
from labresults.calculation.derived_formula import Input, bounds
from labresults.calculation.derived_terms import Term, conversion
from labresults.calculation.explain_derived import explain_derived
from labresults.terms import Basis, BelowInSum, Mark
from tests.calculation.derived_builders import a_set, a_sum, found, shipped


@pytest.mark.parametrize(
    ("code", "values", "unit", "expected", "tolerance"),
    [
        # 2340 B: 2.497 × 50 + 4.118 × 10
        ("hardness", {"Ca": 50.0, "Mg": 10.0}, "mg/L", 166.03, 0.02),
        # R. S. Ayers and D. W. Westcot, Water quality for agriculture, FAO 29 rev. 1 (1985), 3.1: a water of
        # 2.32 Ca, 1.44 Mg and 7.73 Na me/L has a ratio of 5.64; from memory
        ("sar", {"Na": 7.73 / 0.043497, "Ca": 2.32 / 0.049903, "Mg": 1.44 / 0.082288}, "mg/L", 5.64, 0.005),
        # Handbook 60's formula by hand: 10 / √((3 + 5) / 2) = 5, in mmol(c)/L
        ("sar", {"Na": 229.898, "Ca": 60.117, "Mg": 60.7625}, "mg/L", 5.0, 0.001),
        # Clemson University, CEC calculations: bases 0.28 + 0.12 + 1.00 + 0.03 of 3.83 are 37 %; its acidity of 2.40
        # stands here as aluminium
        (
            "base-saturation",
            {"Ca": 1.0, "Mg": 0.12, "K": 0.28, "Na": 0.03, "Al": 2.40},
            "cmol(+)/kg",
            37.0,
            0.5,
        ),
        ("cec", {"Ca": 1.0, "Mg": 0.12, "K": 0.28, "Na": 0.03, "Al": 2.40}, "cmol(+)/kg", 3.83, 1e-9),
    ],
)
def test_worked_examples(code: str, values: dict[str, float], unit: str, expected: float, tolerance: float) -> None:
    definition = shipped(code)
    derived = derive(definition, found(definition, values, unit))
    assert derived.value == pytest.approx(expected, abs=tolerance)
    assert derived.why == ""


def test_oxides_add_up_to_what_the_analysis_of_a_granite_does() -> None:
    """USGS G-2, recommended values (K. Govindaraju, 1994, from memory): oxides in %, all iron as Fe2O3; total 99.05."""
    oxides = {"SiO2": 69.08, "TiO2": 0.48, "Al2O3": 15.39, "Fe2O3": 2.66, "MnO": 0.03, "MgO": 0.75, "CaO": 1.96,
              "Na2O": 4.08, "K2O": 4.48, "P2O5": 0.14}  # fmt: skip
    definition = shipped("oxides")
    measured = [  # the laboratory gives elements, not oxides
        value / conversion(term.element, term.element, "%", term.reported_as, "%")
        for term, value in zip(definition.terms, oxides.values(), strict=True)
    ]
    values = dict(zip((term.element for term in definition.terms), measured, strict=True))
    assert derive(definition, found(definition, values, "%")).value == pytest.approx(99.05, abs=1e-9)
    in_mg = {element: 10_000 * value for element, value in values.items()}
    assert derive(definition, found(definition, in_mg, "mg/kg")).value == pytest.approx(99.05, abs=1e-9)


def test_a_grade_is_weighted_by_mass() -> None:
    """By hand: (2 × 1 + 6 × 5) / 8 = 4 g/t, where the plain mean is 3."""
    assert derive(shipped("grade-au"), a_set([(2.0, 1.0), (6.0, 5.0)])).value == 4.0


def test_dry_basis_leaves_the_water_out_once() -> None:
    definition = shipped("dry-cu")
    moist = found(definition, {"Cu": 90.0}, "mg/kg", moisture_percent=10.0)
    assert derive(definition, moist).value == pytest.approx(100.0)
    assert derive(definition, moist).basis is Basis.DRY
    dry_already = [replace(moist[0], basis=Basis.DRY)]
    assert derive(definition, dry_already).value == 90.0
    unknown = [replace(moist[0], moisture_percent=None)]
    assert derive(definition, unknown).why == "the moisture of the sample is not known"


# Hardness-like sum of A and B, each with a detection limit of 3 and 4 mg/L; what was found, rule -> what is known.
# By hand: limit of the sum √(3² + 4²) = 5; where neither is found the sum may be up to 3 + 4 = 7.
@pytest.mark.parametrize(
    ("a", "b", "rule", "value", "sign", "bound", "low", "high"),
    [
        (10.0, 20.0, BelowInSum.ZERO, 30.0, "", None, None, None),
        (10.0, 20.0, BelowInSum.RANGE, 30.0, "", None, None, None),
        (10.0, 1.0, BelowInSum.ZERO, 10.0, "", None, None, None),
        (10.0, 1.0, BelowInSum.LIMIT, 14.0, "", None, None, None),
        (10.0, 1.0, BelowInSum.RANGE, None, "", None, 10.0, 14.0),
        (1.0, 1.0, BelowInSum.ZERO, 0.0, "<", 7.0, None, None),
        (1.0, 1.0, BelowInSum.LIMIT, None, "<", 7.0, None, None),
        (1.0, 1.0, BelowInSum.RANGE, None, "<", 7.0, None, None),
        (2.9999, 1.0, BelowInSum.ZERO, 0.0, "<", 7.0, None, None),  # decided on the unrounded value
        (4.5, 1.0, BelowInSum.ZERO, 4.5, "<", 8.5, None, None),  # less than 5 was found, and it may be 4.5 + 4
        (5.0, 1.0, BelowInSum.ZERO, 5.0, "", None, None, None),
        (-0.5, 20.0, BelowInSum.ZERO, 20.0, "", None, None, None),
    ],
)
def test_what_is_below_its_limit_counts_as_the_rule_says(
    a: float, b: float, rule: BelowInSum, value: float | None, sign: str, bound: float | None,
    low: float | None, high: float | None,
) -> None:  # fmt: skip
    definition = a_sum("Ca", "Mg", below=rule)
    limits = {"Ca": 3.0, "Mg": 4.0}
    derived = derive(definition, found(definition, {"Ca": a, "Mg": b}, "mg/L", detection_limit=limits))
    assert (derived.value, derived.sign, derived.bound, derived.low, derived.high) == (value, sign, bound, low, high)
    assert derived.detection_limit == 5.0


def test_a_bound_holds_for_what_was_read() -> None:
    """By hand: each of 100 samples is below 1 g/t, so their mean may be anything below 1, and here it is 0.9."""
    derived = derive(shipped("grade-au"), a_set([(1.0, 0.9)] * 100, detection_limit=1.0))
    assert (derived.sign, derived.bound) == ("<", pytest.approx(1.0))
    assert derived.detection_limit == pytest.approx(0.1)  # of the mean, 1 / √100


def test_what_was_printed_by_the_first_edition_is_computed_by_it_again() -> None:
    """By hand, as it was: below 5 = √(3² + 4²) though 7 is possible, and U of one portion as if independent."""
    definition = a_sum("Ca", "Mg")
    limits = {"Ca": 3.0, "Mg": 4.0}
    nothing = found(definition, {"Ca": 1.0, "Mg": 1.0}, "mg/L", detection_limit=limits)
    assert derive(definition, nothing, 1).bound == 5.0
    some = found(definition, {"Ca": 4.5, "Mg": 1.0}, "mg/L", detection_limit=limits)
    assert (derive(definition, some, 1).value, derive(definition, some, 1).sign) == (4.5, "")
    of_a_portion = found(definition, {"Ca": 10.0, "Mg": 20.0}, "mg/L", u={"Ca": 0.3, "Mg": 0.4}, portion="7")
    assert derive(definition, of_a_portion, 1).u == pytest.approx(0.5)


ROOT, SHARE = "sar", "base-saturation"


@pytest.mark.parametrize(
    ("code", "values", "below", "over", "sign", "bound", "why"),
    [
        # Nothing found of what it is divided by: at least 8 / √((1 + 1) / 2) = 8
        (ROOT, {"Na": 8.0, "Ca": 0.1, "Mg": 0.1}, {"Ca": 1.0, "Mg": 1.0}, {}, ">", 8.0, ""),
        (ROOT, {"Na": 0.1, "Ca": 0.1, "Mg": 0.1}, {"Na": 1.0, "Ca": 1.0, "Mg": 1.0}, {}, "", None, "nothing was found"),
        (ROOT, {"Na": 0.1, "Ca": 4.0, "Mg": 4.0}, {"Na": 1.0}, {}, "<", 0.5, ""),  # at most 1 / √4
        (ROOT, {"Na": None, "Ca": 4.0, "Mg": 4.0}, {}, {"Na": 20.0}, ">", 10.0, ""),  # 20 / √4
        (ROOT, {"Na": 8.0, "Ca": None, "Mg": 8.0}, {}, {"Ca": 24.0}, "<", 2.0, ""),  # 8 / √((24 + 8) / 2)
        (ROOT, {"Na": None, "Ca": None, "Mg": 8.0}, {}, {"Na": 9.0, "Ca": 24.0}, "", None, "over range"),
        (SHARE, {"Ca": None, "Mg": 1.0, "K": 1.0, "Na": 1.0, "Al": 2.0}, {}, {"Ca": 5.0}, ">", 80.0, ""),  # 8 of 10
        (SHARE, {"Ca": 1.0, "Mg": 1.0, "K": 1.0, "Na": 1.0, "Al": None}, {}, {"Al": 4.0}, "<", 50.0, ""),  # 4 of 8
        (
            SHARE, {"Ca": None, "Mg": 1.0, "K": 1.0, "Na": 1.0, "Al": None}, {}, {"Ca": 1.0, "Al": 4.0}, "", None,
            "over range",
        ),
    ],
)  # fmt: skip
def test_bounds_are_what_is_known(
    code: str, values: dict[str, float | None], below: dict[str, float], over: dict[str, float], sign: str,
    bound: float | None, why: str,
) -> None:  # fmt: skip
    definition = shipped(code)
    unit = definition.terms[0].unit
    inputs = found(
        definition, values, unit,
        detection_limit={element: below.get(element, 0.0) for element in values},
        upper_limit={element: over.get(element) for element in values},
        over_range={element: element in over for element in values},
    )  # fmt: skip
    derived = derive(definition, inputs)
    assert derived.sign == sign
    assert derived.bound == (None if bound is None else pytest.approx(bound))
    assert why in derived.why
    assert (Mark.OVER_RANGE in derived.marks) == bool(over)


# The oxygen that fluorine stands for is taken off; F is over its range of 10 %, so at least 4.21 % goes.
@pytest.mark.parametrize(
    ("calcium", "sign", "bound", "why"),
    [(5.0, "<", 0.79, ""), (4.21, "", None, "nothing of it would be left"), (1.0, "", None, "nothing of it")],
)
def test_a_bound_that_is_not_above_zero_is_said_in_words(
    calcium: float, sign: str, bound: float | None, why: str
) -> None:
    terms = (Term("a", "Ca", "Ca", "%"), Term("a", "F", "F", "%", -0.421))
    definition = a_sum("Ca", unit="%", terms=terms)
    over = {"over_range": {"Ca": False, "F": True}, "upper_limit": {"Ca": None, "F": 10.0}}
    derived = derive(definition, found(definition, {"Ca": calcium, "F": None}, "%", **over))
    assert (derived.sign, derived.bound) == (sign, bound and pytest.approx(bound))
    assert why in derived.why


def test_over_range_of_a_sum_says_at_least() -> None:
    definition = a_sum("Ca", "Mg")
    inputs = found(definition, {"Ca": None, "Mg": 5.0}, "mg/L", over_range={"Ca": True, "Mg": False}, upper_limit=100.0)
    derived = derive(definition, inputs)
    assert (derived.sign, derived.bound) == (">", 105.0)
    assert bounds(definition, derived.entered) == (105.0, inf)


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"value": {"Ca": 1.0, "Mg": None}, "why": "insufficient sample"}, "Mg: insufficient sample"),
        ({"basis": {"Ca": Basis.DRY, "Mg": Basis.AS_RECEIVED}}, "its results are not all on one basis"),
        ({"unit": {"Ca": "mg/L", "Mg": "mg/kg"}}, "one is per mass, the other per volume"),
    ],
)
def test_what_cannot_be_computed_says_why(changes: dict[str, Any], why: str) -> None:
    definition = a_sum("Ca", "Mg")
    derived = derive(definition, found(definition, {"Ca": 1.0, "Mg": 2.0}, "mg/L", **changes))
    assert derived.value is None
    assert why in derived.why
    assert derived.sign == ""


def test_a_term_that_nobody_asked_for_is_named_or_left_out() -> None:
    definition = a_sum("Ca", "Mg")
    inputs = found(definition, {"Ca": 4.0}, "mg/L")
    assert derive(definition, inputs).why == "Mg was not asked for"
    without = derive(replace(definition, all_needed=False), inputs)
    assert (without.value, without.lacking) == (4.0, ("Mg was not asked for",))
    assert derive(replace(definition, all_needed=False), []).value is None


def test_the_steps_end_with_the_result_to_the_last_bit() -> None:
    definition = shipped("sar")
    inputs = found(definition, {"Na": 200.3, "Ca": 61.7, "Mg": 33.1}, "mg/L", u=0.5, detection_limit=0.2)
    derived = derive(definition, inputs)
    steps = explain_derived(definition, derived)
    assert [step.what for step in steps] == [
        "Na, Na", "Ca, Ca", "Mg, Mg", "The formula", "Detection limit", "Standard uncertainty", "Expanded uncertainty",
        "The result",
    ]  # fmt: skip
    assert steps[-1].value == derived.value == steps[3].value
    assert steps[-2].value == derived.expanded_u
    assert [step.result for step in steps[:3]] == [1, 2, 3]
    assert [(step.value, step.unit) for step in steps[:3]] == [
        (pytest.approx(value * factor, rel=1e-4), "mmol(c)/L")  # z / M: 1 / 22.990, 2 / 40.078, 2 / 24.305
        for value, factor in ((200.3, 0.043497), (61.7, 0.049903), (33.1, 0.082288))
    ]


@pytest.mark.parametrize(
    ("values", "last"),
    [({"Ca": 0.1, "Mg": 0.1}, "At most"), ({"Ca": 9.0, "Mg": 0.1}, "The result")],
)
def test_the_steps_say_what_was_below_its_limit(values: dict[str, float], last: str) -> None:
    definition = shipped("hardness")
    steps = explain_derived(definition, derive(definition, found(definition, values, "mg/L", detection_limit=0.5)))
    assert steps[-1].what == last
    assert any("below its detection limit of 0.5 mg/L: counts as zero" in step.note for step in steps)


def test_a_set_without_a_mass_is_not_guessed() -> None:
    members: list[Input] = a_set([(1.0, 5.0), (1.0, 6.0)])
    derived = derive(shipped("grade-au"), [members[0], replace(members[1], mass_kg=None)])
    assert derived.why == "a sample of the set has no mass"


def test_the_steps_say_why_there_is_a_bound() -> None:
    hardness, sar, dry = shipped("hardness"), shipped("sar"), shipped("dry-cu")
    nothing = derive(hardness, found(hardness, {"Ca": 0.9, "Mg": 0.9}, "mg/L", detection_limit=1.0))
    last = explain_derived(hardness, nothing)[-1]
    assert (last.note, last.numerator) == ("nothing was found: every term at its limit", "2.49728 + 4.117918")
    over = {"over_range": {"Na": False, "Ca": True, "Mg": False}, "upper_limit": {"Na": None, "Ca": 24.0, "Mg": None}}
    bounded = derive(sar, found(sar, {"Na": 8.0, "Ca": None, "Mg": 8.0}, "mmol(c)/L", **over))
    assert explain_derived(sar, bounded)[-1].note == "Ca over range"
    moist = found(dry, {"Cu": 90.0}, "mg/kg", moisture_percent=10.0)
    assert "÷ (1 − 10 ÷ 100), its moisture" in explain_derived(dry, derive(dry, moist))[0].note
    dry_already = [replace(moist[0], basis=Basis.DRY)]
    assert explain_derived(dry, derive(dry, dry_already))[0].note == ""
