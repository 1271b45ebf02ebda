"""Sentences of every certificate, and of samples beside their limits: each choice of words by what decides it."""

from dataclasses import replace

import pytest

from labresults.calculation.derived import derive
from labresults.terms import DecisionRule, LimitSide
from reports.document import SamplingNote
from reports.facts import DerivedFact, DeterminationFact, LimitFact
from reports.printed import Rules
from reports.rules.compared import Compared
from reports.rules.conformity import Statement
from reports.rules.printing import PrintedValue
from reports.rules.ruleset import RuleSet
from reports.statements import (
    AS_RECEIVED,
    AS_RECEIVED_OTHERS,
    BETWEEN_ENDS,
    IN_FULL,
    INVENTED,
    ITEMS_TESTED,
    OF_COMPUTED,
    OF_ELEMENTS,
    conformity_head,
    conformity_of_row,
    conformity_text,
    limit_numbers,
    standing_statements,
)
from tests.calculation.derived_builders import a_set, found, shipped
from tests.rules.test_statements import METHOD, PB_LIMIT, RULES, composed, facts_of

YES, WITHIN, OPEN = Statement.CONFORMS, Statement.CONFORMS_WITHIN_U, Statement.CANNOT_BE_DECIDED
NO, NO_WITHIN = Statement.DOES_NOT_CONFORM, Statement.DOES_NOT_WITHIN_U
CU_LIMIT = LimitFact("Cu", 200.0, "mg/kg", "the client")


# ---------------------------------------------------------------- of every certificate


def a_sampling(samples: str) -> SamplingNote:
    return SamplingNote(*[samples if field == "samples" else "" for field in SamplingNote.__dataclass_fields__])


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, (ITEMS_TESTED, AS_RECEIVED, IN_FULL)),
        ({"invented": True}, (INVENTED, ITEMS_TESTED, AS_RECEIVED, IN_FULL)),
        # taken by the laboratory: all of them, or some
        ({"sampling_notes": (a_sampling("all samples"),)}, (ITEMS_TESTED, IN_FULL)),
        ({"sampling_notes": (a_sampling("KF26-00001"),)}, (ITEMS_TESTED, AS_RECEIVED_OTHERS, IN_FULL)),
        ({"sampling_notes": (a_sampling("KF26-00001"), a_sampling("all samples"))}, (ITEMS_TESTED, IN_FULL)),
        (
            {"client_said": ("own identifications", "dates of sampling")},
            (
                ITEMS_TESTED, AS_RECEIVED,
                "As given by the client, not checked by the laboratory: own identifications, dates of sampling. Where "
                "these are wrong, results may not be valid for what was meant.", IN_FULL,
            ),
        ),
    ],
)  # fmt: skip
def test_what_stands_on_every_certificate(changes: dict[str, object], said: tuple[str, ...]) -> None:
    assert standing_statements(replace(facts_of({"Pb": 50.0}), **changes)) == said  # type: ignore[arg-type]


# ---------------------------------------------------------------- of one sample


def one(statement: Statement, probability: str = "") -> Compared:
    return Compared(PrintedValue("50", "50", "", None, 0, (), "mg/kg", ""), statement, probability=probability)


@pytest.mark.parametrize(
    ("compared", "number", "words", "conforms"),
    [
        ([], 0, "", None),
        ([], 2, "", None),
        ([("Pb", one(YES))], 0, "conforms", True),
        ([("Pb", one(WITHIN))], 0, "conforms, within U", True),
        ([("Pb", one(OPEN))], 0, "cannot be decided", None),
        ([("Pb", one(NO_WITHIN))], 0, "does not conform, within U", False),
        ([("Pb", one(NO)), ("Cu", one(NO))], 2, "does not conform (limits 2)", False),
        # of several statements those that are not “conforms” are named
        ([("Pb", one(YES)), ("Cu", one(NO))], 0, "Cu does not conform; the others conform", False),
        ([("Pb", one(YES)), ("Cu", one(OPEN))], 0, "Cu cannot be decided; the others conform", None),
        ([("Pb", one(OPEN)), ("Cu", one(NO_WITHIN))], 0, "Pb cannot be decided; Cu does not conform, within U", False),
        (
            [("Pb", one(YES)), ("Cu", one(WITHIN)), ("Zn", one(YES))], 1,
            "Cu conforms, within U; the others conform (limits 1)", True,
        ),
        # probabilities: of one result without its name, alike ones together
        ([("Pb", one(YES, "97.7 %"))], 0, "conforms, probability 97.7 %", True),
        (
            [("Pb", one(YES, "97.7 %")), ("Cu", one(YES, "99.1 %")), ("Zn", one(YES, "97.7 %"))], 0,
            "conforms, probability Pb Zn 97.7 %, Cu 99.1 %", True,
        ),
        ([("Pb", one(YES, "97.7 %")), ("Cu", one(YES))], 0, "conforms, probability Pb 97.7 %", True),
        (
            [("Pb", one(YES, "97.7 %")), ("Cu", one(NO, "3.1 %"))], 0,
            "Cu does not conform, probability 3.1 %; the others conform, probability 97.7 %", False,
        ),
    ],
)  # fmt: skip
def test_the_statement_of_a_sample(
    compared: list[tuple[str, Compared]], number: int, words: str, conforms: bool | None
) -> None:
    assert conformity_of_row(compared, number) == (words, conforms)


# ---------------------------------------------------------------- of the limits


@pytest.mark.parametrize(
    ("limits", "head"),
    [
        ((), ""),
        ((PB_LIMIT,), "Pb against 100 mg/kg"),
        ((replace(PB_LIMIT, side=LimitSide.AT_LEAST),), "Pb against at least 100 mg/kg"),
        ((PB_LIMIT, CU_LIMIT), "Against the limits"),
        # of a set of which nothing was measured the limits stand, so that its samples are not without any
        ((replace(PB_LIMIT, element="As", limit_set="a"),), "As against 100 mg/kg"),
    ],
)
def test_what_stands_over_the_column_of_statements(limits: tuple[LimitFact, ...], head: str) -> None:
    assert conformity_head(facts_of({"Pb": 50.0, "Cu": 50.0}, limits=limits), Rules(RULES)) == head


def test_limit_sets_have_numbers_where_there_are_several() -> None:
    of_set = {name: replace(PB_LIMIT, limit_set=name) for name in "abc"}
    assert limit_numbers([of_set["b"], of_set["b"]]) == {"b": 0}
    assert limit_numbers([of_set["b"], of_set["a"], of_set["b"], of_set["c"]]) == {"b": 1, "a": 2, "c": 3}


def test_two_sets_of_limits_are_told_apart_and_counted_apart() -> None:
    # given soils for a garden, at most 100 mg/kg of Pb, and for a yard, 200 mg/kg and U doubled by rule
    garden = replace(PB_LIMIT, limit_set="garden", source="the garden's owner")
    yard = replace(PB_LIMIT, value=200.0, limit_set="yard", decision_rule=DecisionRule.SIMPLE)
    facts = facts_of({"Pb": 50.0}, {"Pb": 150.0}, {"Pb": 150.0}, limits=(garden, yard))
    sets = ("garden", "garden", "yard")
    samples = tuple(replace(sample, limit_set=of) for sample, of in zip(facts.samples, sets, strict=True))
    stated = {samples[0].number: {YES}, samples[1].number: {NO}, samples[2].number: {YES}}
    text = conformity_text(replace(facts, samples=samples), Rules(RULES), stated)
    assert "Limits 1: Pb at most 100 mg/kg (the garden's owner). Limits 2: Pb at most 200 mg/kg (the client)." in text
    assert "Decision rule for limits 1: the unrounded value is compared" in text
    assert "Decision rule for limits 2: simple acceptance." in text
    assert text.endswith(
        "Of 3 samples: 1 “conforms (limits 1)”, 1 “does not conform (limits 1)”, 1 “conforms (limits 2)”."
    )


def test_without_limits_nothing_is_said() -> None:
    assert conformity_text(facts_of({"Pb": 50.0}), Rules(RULES), {}) == ""
    assert composed({"Pb": 50.0}, limits=()).conformity_text == ""


def test_two_rules_of_one_set_name_their_elements_and_one_rule_names_none() -> None:
    by_risk = replace(CU_LIMIT, decision_rule=DecisionRule.SIMPLE)
    two = composed({"Pb": 50.0, "Cu": 50.0}, limits=(PB_LIMIT, by_risk)).conformity_text
    assert "Limits: Pb at most 100 mg/kg, Cu at most 200 mg/kg (the client)." in two
    assert "Decision rule for Pb: the unrounded value" in two
    assert "Decision rule for Cu: simple acceptance." in two
    same = composed({"Pb": 50.0, "Cu": 50.0}, limits=(PB_LIMIT, CU_LIMIT)).conformity_text
    assert "Decision rule: the unrounded value" in same
    assert "Not measured here" not in same
    assert OF_ELEMENTS in same
    assert BETWEEN_ENDS not in same


def test_a_rule_says_the_coverage_factor_of_the_method_that_measured_it() -> None:
    # given lead by a method with k = 3, and copper by one with k = 2
    facts = facts_of({"Pb": 50.0}, limits=(PB_LIMIT, CU_LIMIT))
    other = DeterminationFact("FD-4", "Cu", "Cu", "mg/kg")
    facts = replace(
        facts, determinations=(*facts.determinations, other),
        methods=(replace(METHOD, coverage_factor=3.0), replace(METHOD, code="FD-4")),
    )  # fmt: skip
    text = conformity_text(facts, Rules(RULES), {})
    assert "Decision rule for Pb: the unrounded value is compared with the limit itself, and the expanded uncertainty" \
        " U (k = 3)" in text  # fmt: skip
    assert "Decision rule for Cu: the unrounded value is compared with the limit itself, and the expanded uncertainty" \
        " U (k = 2, about 95 %)" in text  # fmt: skip


def test_means_over_sets_are_counted_beside_samples() -> None:
    # given a limit on the mean of gold over sets, k = 3, and one on lead in samples
    grade = shipped("grade-au")
    mean = derive(grade, a_set([(1.0, 5.0)], coverage_factor=3.0, u=0.1))
    of_mean = LimitFact("", 4.0, "g/t", "the client", derived=grade.code, heading="Au, mean")
    facts = facts_of({"Pb": 50.0}, {"Pb": 60.0}, limits=(of_mean,))
    sets = tuple(DerivedFact(grade, mean, sample_set=name) for name in ("north", "south"))
    stated: dict[str, set[Statement]] = {"north": {YES}, "south": {NO}}
    text = conformity_text(replace(facts, derived=sets), Rules(RULES), stated)
    assert "Limits: Au, mean at most 4 g/t (the client)." in text
    assert "U (k = 3) says" in text
    assert f"{OF_COMPUTED} {BETWEEN_ENDS}" in text
    assert text.endswith("Of 2 sets of samples: 1 “conforms”, 1 “does not conform”.")
    # one set, and samples that have statements too
    both = replace(facts, derived=sets[:1], limits=(of_mean, PB_LIMIT))
    with_samples = stated | {facts.samples[0].number: {YES}}
    text = conformity_text(both, Rules(RULES), with_samples)
    assert text.endswith("Of 1 samples: 1 “conforms”. Of 1 set of samples: 1 “conforms”.")
    assert OF_COMPUTED in text
    # and a set without any statement is not counted
    text = conformity_text(both, Rules(RULES), {facts.samples[0].number: {YES}})
    assert text.endswith("Of 1 samples: 1 “conforms”.")


def test_a_computed_result_of_samples_keeps_the_rule_of_its_own_factor() -> None:
    hardness = shipped("hardness")
    value = derive(hardness, found(hardness, {"Ca": 50.0, "Mg": 10.0}, "mg/L", u=0.1, coverage_factor=2.5))
    limit = LimitFact("", 200.0, "mg/L", "the client", derived="hardness", heading="Hardness")
    other = derive(hardness, found(hardness, {"Ca": 50.0, "Mg": 10.0}, "mg/L", u=0.1, coverage_factor=4.0))
    cec = DerivedFact(replace(hardness, code="another"), other, sample="KF26-00001")
    facts = replace(
        facts_of({"Pb": 50.0}, limits=(limit,)), derived=(DerivedFact(hardness, value, sample="KF26-00001"), cec)
    )
    text = conformity_text(facts, Rules(RULES), {"KF26-00001": {YES}})
    assert "U (k = 2.5) says" in text
    assert "k = 4" not in text


def test_a_limit_in_another_form_has_one_figure_more_than_results_have() -> None:
    """100 mg/kg of Pb are 107.722 mg/kg of PbO, M 223.2 / 207.2; three figures and one more."""
    rules = RuleSet("R2", 1, forms=(("Pb", "PbO"),))
    head = composed({"Pb": 50.0, "Cu": 50.0}, limits=(PB_LIMIT,), rules=rules).conformity_head
    assert head == "Pb against 100 mg/kg, as PbO 107.7 mg/kg"
    with_copper = composed({"Cu": 50.0, "Pb": 50.0}, limits=(CU_LIMIT,), rules=rules).conformity_head
    assert with_copper == "Cu against 200 mg/kg"
