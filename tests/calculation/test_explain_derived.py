"""The arithmetic of a derived result as it is shown: each line gives the number beside it, worked by hand."""

from dataclasses import replace

import pytest

from labresults.calculation.derived import derive
from labresults.calculation.derived_formula import Input
from labresults.calculation.derived_terms import Definition, Term
from labresults.calculation.explain_derived import DerivedStep, explain_derived
from labresults.terms import Basis, BelowInSum
from tests.calculation.derived_builders import a_set, a_share, a_sum, found, shipped

FLUORINE = a_sum("Ca", unit="%", terms=(Term("a", "Ca", "Ca", "%"), Term("a", "F", "F", "%", -0.421)))
"""Of which the oxygen that fluorine stands for is taken away: 10 − 0.421 × 1 = 9.579."""

BASES = {"Ca": 6.0, "Mg": 0.5, "K": 0.0, "Na": 0.0, "Al": 2.0}
MAGNESIUM_BELOW_1 = {"Ca": 0.0, "Mg": 1.0, "K": 0.0, "Na": 0.0, "Al": 0.0}


def steps_of(definition: Definition, inputs: list[Input], edition: int = 2) -> dict[str, DerivedStep]:
    """Each step by what it says that it is."""
    return {step.what: step for step in explain_derived(definition, derive(definition, inputs, edition))}


# 100 (6 + x) / (6 + x + 2), magnesium read as 0.5 and below its limit of 1: with x as nothing 75, with x as 1 700 / 9.
@pytest.mark.parametrize(
    ("rule", "counts", "numerator", "denominator", "value"),
    [
        (BelowInSum.ZERO, 0.0, "100 × (6 + 0 + 0 + 0)", "6 + 0 + 0 + 0 + 2", 75.0),
        (BelowInSum.LIMIT, 1.0, "100 × (6 + 1 + 0 + 0)", "6 + 1 + 0 + 0 + 2", 700 / 9),
    ],
)
def test_what_is_below_its_limit_counts_in_the_steps_as_it_does_in_the_value(
    rule: BelowInSum, counts: float, numerator: str, denominator: str, value: float
) -> None:
    definition = shipped("base-saturation", below=rule)
    steps = steps_of(definition, found(definition, BASES, "cmol(+)/kg", detection_limit=MAGNESIUM_BELOW_1))
    term, formula = steps["Mg, Mg"], steps["The formula"]
    assert (term.numerator, term.value, term.result) == (f"{counts:g} cmol(+)/kg", counts, 2)
    assert term.note == f"0.5 cmol(+)/kg is below its detection limit of 1 cmol(+)/kg: counts {rule.value}"
    assert (formula.numerator, formula.denominator) == (numerator, denominator)
    assert formula.value == steps["The result"].value == pytest.approx(value)


def test_a_range_has_both_its_ends_and_no_formula() -> None:
    definition = shipped("base-saturation", below=BelowInSum.RANGE)
    steps = steps_of(definition, found(definition, BASES, "cmol(+)/kg", detection_limit=MAGNESIUM_BELOW_1, u=0.1))
    assert [step for step in steps if ", " not in step] == [
        "With nothing of it", "With all of its limit", "Detection limit",
    ]  # fmt: skip
    assert steps["With nothing of it"].value == 75.0
    assert steps["With all of its limit"].value == pytest.approx(700 / 9)
    # of magnesium at its limit: 100 × 2 / 9² = 2.469136 for each of its 1
    assert steps["Detection limit"].numerator == "√((2.469136 × 1)²)"
    assert steps["Detection limit"].value == pytest.approx(2.469136)


@pytest.mark.parametrize(
    ("definition", "values", "unit", "step", "numerator", "value"),
    [
        # calcium stands in both parts and is shown once; abridged weights: 2 / (10 × 40.078), and 3 / (10 × 26.982)
        (shipped("base-saturation"), {**BASES, "Mg": 1.0}, "mg/kg", "Ca, Ca", "6 mg/kg × 0.004990269", 0.02994161),
        (shipped("base-saturation"), {**BASES, "Mg": 1.0}, "mg/kg", "Al, Al", "2 mg/kg × 0.01111852", 0.02223704),
        (shipped("hardness"), {"Ca": 50.0, "Mg": 10.0}, "mg/L", "Ca, Ca as CaCO3", "50 mg/L × 2.49728", 124.864),
        (FLUORINE, {"Ca": 10.0, "F": 1.0}, "%", "F, -0.421 × F", "1 % × -0.421", -0.421),
        (FLUORINE, {"Ca": 10.0, "F": 1.0}, "%", "The formula", "10 − 0.421", 9.579),
        (FLUORINE, {"Ca": 10.0, "F": 1.0}, "%", "Ca, Ca", "10 %", 10.0),
    ],
)
def test_a_term_is_its_result_times_its_factor(
    definition: Definition, values: dict[str, float], unit: str, step: str, numerator: str, value: float
) -> None:
    shown = steps_of(definition, found(definition, values, unit))[step]
    assert shown.numerator == numerator
    assert shown.value == pytest.approx(value, rel=1e-6)


@pytest.mark.parametrize(
    ("definition", "unit", "notes"),
    [
        (shipped("hardness"), "mg/L", ["atomic weights CIAAW 2024, abridged"] * 2),
        (a_sum("Ca", "Mg"), "ug/L", ["another unit"] * 2),
        (a_sum("Ca", "Mg"), "mg/L", ["", ""]),
        (a_sum("Ca", terms=(Term("a", "Ca", "Ca", "mmol(c)/L"), Term("a", "Mg", "Mg", "mmol(c)/L")), unit="mmol(c)/L"),
         "mg/L", ["atomic weights CIAAW 2024, abridged"] * 2),
        (a_sum("Ca", terms=(Term("a", "Ca", "Ca", "mg/L", 2.0), Term("a", "Mg", "Mg", "ug/L"))), "mg/L",
         ["factor 2 of the definition", "another unit"]),
        (a_sum("Ca", terms=(Term("a", "Ca", "CaCO3", "mg/L", 0.5), Term("a", "Mg", "Mg", "mg/L"))), "mg/L",
         ["atomic weights CIAAW 2024, abridged; factor 0.5 of the definition", ""]),
        (a_sum("Ca", terms=(Term("a", "Ca", "Ca", "cmol(+)/kg"), Term("a", "Mg", "Mg", "mg/kg")), unit="cmol(+)/kg"),
         "mg/kg", ["atomic weights CIAAW 2024, abridged", ""]),
    ],
)  # fmt: skip
def test_a_term_says_what_its_factor_is_made_of(definition: Definition, unit: str, notes: list[str]) -> None:
    derived = derive(definition, found(definition, {"Ca": 5.0, "Mg": 7.0}, unit))
    assert [step.note for step in explain_derived(definition, derived)[:2]] == notes


def test_what_was_not_used_is_not_named() -> None:
    """A moisture and a mass that are known, where neither the basis nor the mass counts; no limits, so no limit."""
    definition = shipped("hardness")
    steps = steps_of(definition, found(definition, {"Ca": 5.0, "Mg": 7.0}, "mg/L", moisture_percent=10.0, mass_kg=2.0))
    assert steps["Ca, Ca as CaCO3"].note == "atomic weights CIAAW 2024, abridged"
    assert list(steps) == ["Ca, Ca as CaCO3", "Mg, Mg as CaCO3", "The formula", "The result"]


def test_the_share_of_a_member_is_its_mass() -> None:
    # given 2 kg of 1 g/t and 6 kg of 5 g/t
    steps = steps_of(shipped("grade-au"), a_set([(2.0, 1.0), (6.0, 5.0)]))
    assert steps["sample 2"].numerator == "5 g/t × 0.75"
    assert steps["sample 2"].note == "6 kg of the set's mass, as the client says"
    assert (steps["The formula"].numerator, steps["The formula"].denominator) == ("0.25 + 3.75", None)
    nameless = [replace(each, mass_kg=None) for each in a_set([(2.0, 1.0)])]
    (step,) = explain_derived(shipped("grade-au"), derive(shipped("grade-au"), nameless))
    assert (step.what, step.note) == ("sample 1", "")


@pytest.mark.parametrize(
    ("count", "formula", "limit"),
    [
        (6, " + ".join(["0.8333333"] * 6), f"√({' + '.join(['(0.1666667 × 0.1)²'] * 6)})"),
        (7, " + ".join(["0.7142857"] * 7), "√ of the sum of 7 squares, one for each result"),
        (12, " + ".join(["0.4166667"] * 12), "√ of the sum of 12 squares, one for each result"),
        (13, "sum of the 13 lines above", "√ of the sum of 13 squares, one for each result"),
    ],
)
def test_of_many_their_number_is_said(count: int, formula: str, limit: str) -> None:
    """Each of n equal shares: 5 / n in the formula, 1 / n × 0.1 in the limit."""
    definition = shipped("grade-au")
    steps = steps_of(definition, a_set([(1.0, 5.0)] * count, detection_limit=0.1))
    assert (steps["The formula"].numerator, steps["Detection limit"].numerator) == (formula, limit)


@pytest.mark.parametrize(
    ("count", "groups", "written"),
    [
        # of two curves, by turns; two results each, and four each
        (4, 2, "√((0.25 × 0.2 + 0.25 × 0.2)² + (0.25 × 0.2 + 0.25 × 0.2)²)"),
        (14, 2, "√((sum of derivative × u of 7 results)² + (sum of derivative × u of 7 results)²)"),
        (14, 7, "√ of the sum of 7 squares, one for each group"),
        (13, 7, "√ of the sum of 7 squares, one for each group"),  # of which one has a single result
        (6, 1, f"√(({' + '.join(['0.1666667 × 0.2'] * 6)})²)"),
        (7, 1, "√((sum of derivative × u of 7 results)²)"),
    ],
)
def test_what_moves_together_is_added_up_before_it_is_squared(count: int, groups: int, written: str) -> None:
    definition = shipped("grade-au")
    inputs = [
        replace(each, calibration=f"curve {place % groups}")
        for place, each in enumerate(a_set([(1.0, 5.0)] * count, u=0.2))
    ]
    step = steps_of(definition, inputs)["Standard uncertainty"]
    assert step.numerator == written
    assert step.note.endswith(
        "; results of one calibration that move the whole to one side are taken as fully correlated (5.2.2, note 1), "
        "the others as independent"
    )


@pytest.mark.parametrize(
    ("shared", "edition", "written", "u"),
    [
        # 1 × 0.1 and −0.421 × 0.1, to opposite sides: √(0.01 + 0.00177241)
        ({"portion": "7"}, 2, "√((1 × 0.1)² + (0.421 × 0.1)²)", 0.1085007),
        ({"calibration": "x"}, 2, "√((1 × 0.1)² + (0.421 × 0.1)²)", 0.1085007),
        # the first edition lets one calibration cancel: 0.1 − 0.0421
        ({"calibration": "x"}, 1, "√((1 × 0.1 − 0.421 × 0.1)²)", 0.0579),
    ],
)
def test_what_is_taken_away_is_written_with_its_side(
    shared: dict[str, str], edition: int, written: str, u: float
) -> None:
    inputs = found(FLUORINE, {"Ca": 10.0, "F": 1.0}, "%", u=0.1, **shared)
    step = steps_of(FLUORINE, inputs, edition)["Standard uncertainty"]
    assert step.numerator == written
    assert step.value == pytest.approx(u)
    if edition == 1:
        assert "results of one calibration are taken as fully correlated" in step.note


def test_what_moves_nothing_is_not_written() -> None:
    """Without any sodium the ratio is nothing, and calcium and magnesium do not move it: 1 / √(8 / 2) = 0.5 by Na."""
    definition = shipped("sar")
    steps = steps_of(definition, found(definition, {"Na": 0.0, "Ca": 3.0, "Mg": 5.0}, "mmol(c)/L", u=0.1))
    assert steps["Standard uncertainty"].numerator == "√((0.5 × 0.1)²)"
    assert steps["Standard uncertainty"].value == pytest.approx(0.05)


@pytest.mark.parametrize(
    ("shared", "named"),
    [
        ({"calibration": "x", "portion": "7"}, "results of one calibration or one portion that move"),
        ({"portion": "7"}, "results of one portion that move"),
        ({"calibration": {"Ca": "x", "Mg": "y"}, "portion": {"Ca": "7", "Mg": "8"}}, "taken as independent of each"),
        ({}, "taken as independent of each other"),
    ],
)
def test_what_is_taken_as_moving_together_is_named(shared: dict[str, object], named: str) -> None:
    definition = a_sum("Ca", "Mg")
    steps = steps_of(definition, found(definition, {"Ca": 10.0, "Mg": 20.0}, "mg/L", u=0.3, **shared))
    assert named in steps["Standard uncertainty"].note


def test_u_is_k_times_u() -> None:
    definition = a_sum("Ca", "Mg")
    inputs = found(definition, {"Ca": 10.0, "Mg": 20.0}, "mg/L", u={"Ca": 0.3, "Mg": 0.4}, coverage_factor=2.5)
    step = steps_of(definition, inputs)["Expanded uncertainty"]
    assert (step.note, step.numerator, step.value) == ("k = 2.5", "2.5 × 0.5", pytest.approx(1.25))


def test_of_what_has_no_value_the_terms_are_shown_as_they_were_found_and_with_no_factor() -> None:
    definition = shipped("hardness")
    bases = found(definition, {"Ca": 1.5, "Mg": 2.0}, "ug/L", basis={"Ca": Basis.DRY, "Mg": Basis.AS_RECEIVED})
    steps = steps_of(definition, bases)
    assert list(steps) == ["Ca, Ca as CaCO3", "Mg, Mg as CaCO3"]
    calcium = steps["Ca, Ca as CaCO3"]
    assert (calcium.numerator, calcium.value, calcium.unit, calcium.note) == ("1.5 µg/L", 1.5, "µg/L", "")
    none = found(definition, {"Ca": 1.0, "Mg": None}, "mg/L", why={"Ca": "", "Mg": "spilled"})
    assert list(steps_of(definition, none)) == ["Ca, Ca as CaCO3"]


def test_of_what_would_be_divided_by_nothing_the_terms_are_shown_alone() -> None:
    definition = a_share()
    inputs = found(definition, {"Cu": 1.0, "Pb": 0.0, "Zn": 0.0}, "mg/kg", u=0.1)
    assert list(steps_of(definition, inputs)) == ["Cu, Cu", "Pb, Pb", "Zn, Zn"]


def test_the_moisture_is_named_where_it_was_used() -> None:
    definition = shipped("dry-cu")
    moist = found(definition, {"Cu": 90.0}, "%", moisture_percent=10.0)
    (step,) = [one for one in explain_derived(definition, derive(definition, moist)) if one.result]
    assert step.note == "÷ (1 − 10 ÷ 100), its moisture; another unit"
    for other in ({"basis": Basis.DRY, "unit": "mg/kg"}, {"moisture_percent": None}):  # dry already; not known
        inputs = [replace(moist[0], **other)]  # type: ignore[arg-type]
        assert explain_derived(definition, derive(definition, inputs))[0].note == ""
