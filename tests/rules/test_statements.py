"""Sentences about limits and uncertainty, on certificates that are composed of plain facts."""

from dataclasses import replace

import pytest

from labresults.calculation.stoichiometry import compound_factor
from labresults.terms import Basis, DecisionRule
from reports.compose import compose
from reports.document import CertificateDocument
from reports.facts import CertificateFacts, DeterminationFact, LimitFact, MethodFact, ResultFact, SampleFact
from reports.rules.decision_words import level_in_words
from reports.rules.forms import NoForm
from reports.rules.ruleset import RuleSet
from reports.statements import limit_said, uncertainty_text

RULES = RuleSet("R2", 1)
PB_LIMIT = LimitFact("Pb", 100.0, "mg/kg", "the client")
METHOD = MethodFact("AR-7", 1, "digested", "", (), "", "", False, "from a round.", 2.0, ())


def facts_of(*contents: dict[str, float], limits: tuple[LimitFact, ...] = ()) -> CertificateFacts:
    """Facts of samples with these contents by element, mg/kg, each with U = 10 mg/kg (k = 2)."""
    numbers = [f"KF26-{ordinal:05d}" for ordinal in range(1, len(contents) + 1)]
    results = [
        ResultFact(
            None, number, "AR-7", element, element, "mg/kg", Basis.AS_RECEIVED, value, 1.0, 3.0, None, None, 10.0, (),
            None,
        )
        for number, sample in zip(numbers, contents, strict=True)
        for element, value in sample.items()
    ]  # fmt: skip
    texts = dict.fromkeys(
        ("laboratory", "place_of_work", "number", "client", "reference", "submission", "sampling", "received",
         "sampled", "measured", "issued", "condition", "chain_head", "check_code"), "",
    )  # fmt: skip
    return CertificateFacts(
        **texts,  # type: ignore[arg-type]
        address=(), client_address=(), departures=(), signatures=(), controls=(), invented=False, issue=1,
        basis=Basis.AS_RECEIVED, samples=tuple(SampleFact(number, "", "soil", "") for number in numbers),
        determinations=tuple(DeterminationFact("AR-7", element, element, "mg/kg") for element in contents[0]),
        results=tuple(results), methods=(METHOD,), limits=limits,
    )  # fmt: skip


def composed(*contents: dict[str, float], limits: tuple[LimitFact, ...], rules: RuleSet = RULES) -> CertificateDocument:
    """A certificate of what `facts_of` says."""
    return compose(facts_of(*contents, limits=limits), rules)


def counted(document: CertificateDocument) -> str:
    """The last sentence: how many samples have which statement."""
    return f"Of {document.conformity_text.rpartition(' Of ')[2]}"


def test_samples_are_counted_by_their_word_and_not_by_their_probability() -> None:
    # given 60 samples, each with a probability of its own
    limit = replace(PB_LIMIT, decision_rule=DecisionRule.PROBABILITY, risk_percent=5.0)
    document = composed(*({"Pb": 80.0 + ordinal / 2} for ordinal in range(60)), limits=(limit,))
    assert len({row.conformity for row in document.rows}) > 20
    # then 5 % of risk ends at 1.645 u below the limit: 91.8 mg/kg, with u = 5 mg/kg
    assert counted(document) == "Of 60 samples: 36 “does not conform”, 24 “conforms”."


def test_a_sample_counts_with_its_worst_result() -> None:
    limits = (PB_LIMIT, LimitFact("Cu", 100.0, "mg/kg", "the client"))
    document = composed({"Pb": 50.0, "Cu": 50.0}, {"Pb": 50.0, "Cu": 150.0}, {"Pb": 98.0, "Cu": 50.0}, limits=limits)
    assert counted(document) == (
        "Of 3 samples, each by its worst result: 1 “conforms”, 1 “does not conform”, 1 “conforms, within U”."
    )


def test_a_limit_is_said_in_the_form_that_is_printed_beside_it() -> None:
    # given lead that is printed as its oxide, and a limit on lead: 36 mg/kg, which is 38.78 mg/kg PbO
    limit = replace(PB_LIMIT, value=36.0)
    assert 36.0 * compound_factor("PbO", "Pb") == pytest.approx(38.78, abs=0.005)
    document = composed({"Pb": 35.0}, limits=(limit,), rules=replace(RULES, forms=(("Pb", "PbO"),)))
    assert document.rows[0].cells[0].printed == "38"
    assert document.conformity_head == "Pb against 36 mg/kg, as PbO 38.78 mg/kg"
    assert "Limits: Pb at most 36 mg/kg, as PbO 38.78 mg/kg (the client)." in document.conformity_text
    # and where it is printed as itself nothing is added
    assert composed({"Pb": 35.0}, limits=(limit,)).conformity_head == "Pb against 36 mg/kg"


def test_only_limits_of_what_was_measured_are_compared_with() -> None:
    limits = (PB_LIMIT, LimitFact("As", 10.0, "mg/kg", "the client"))
    document = composed({"Pb": 50.0}, limits=limits)
    assert "As at most" not in document.conformity_text
    assert "Not measured here, though there are limits for it: As." in document.conformity_text
    assert document.conformity_head == "Pb against 100 mg/kg"


@pytest.mark.parametrize(
    ("text", "name", "conformity", "said"),
    [
        ("Limits: Pb at most 250 mg/kg, SAR at most 3 √(mmol(c)/L) (C: d). Decision rule: w.", "SAR", "conforms",
         "at most 3 √(mmol(c)/L)"),
        ("Limits: Pb at least 0.05 mg/kg, as PbO 0.054 mg/kg (C). Decision", "Pb", "conforms", "at least 0.05 mg/kg"),
        ("Limits 1: Pb at most 250 mg/kg (C). Limits 2: Pb at most 20 mg/kg (D). Decision", "Pb",
         "does not conform (limits 2)", "at most 20 mg/kg"),
        ("Limits: Pb at most 250 mg/kg (C). Decision", "b", "conforms", ""),
    ],
)  # fmt: skip
def test_a_limit_is_read_back_from_what_was_said(text: str, name: str, conformity: str, said: str) -> None:
    assert limit_said(text, name, conformity) == said


def test_two_elements_never_share_a_column() -> None:
    # given rules from before they were refused
    rules = replace(RULES, edition=1, forms=(("Al", "Al2SiO5"), ("Si", "Al2SiO5")))
    with pytest.raises(NoForm, match="Al and Si by AR-7 are both printed as Al2SiO5"):
        composed({"Al": 50.0, "Si": 60.0}, limits=(), rules=rules)


# JCGM 100:2008 (GUM), annex G, table G.1, from memory; for k = 2 it is common to say about 95 % (GUM 7.2.4 example).
@pytest.mark.parametrize(
    ("k", "words"),
    [
        (1.0, "68 % if normally distributed"),
        (1.645, "90 % if normally distributed"),
        (1.96, "95 % if normally distributed"),
        (2.0, "about 95 %"),
        (2.576, "99.0 % if normally distributed"),
        (3.0, "99.7 % if normally distributed"),
        (4.0, "99.994 % if normally distributed"),
        (5.0, ""),
        (60.0, ""),
    ],
)
def test_the_level_of_a_coverage_factor(k: float, words: str) -> None:
    assert level_in_words(k) == words


@pytest.mark.parametrize(
    ("factors", "said"),
    [
        ((2.0, 2.0), "coverage factor k = 2, about 95 %."),
        ((3.0,), "coverage factor k = 3, 99.7 % if normally distributed."),
        ((3.0, 2.0), "coverage factor k = 2, about 95 %, and k = 3, 99.7 % if normally distributed."),
        ((5.0,), "coverage factor k = 5."),
    ],
)
def test_uncertainty_says_the_level_of_its_own_factor(factors: tuple[float, ...], said: str) -> None:
    words = uncertainty_text([replace(METHOD, coverage_factor=factor) for factor in factors])
    assert words.startswith(f"U is the expanded uncertainty of each value, in its unit; {said} AR-7: from a round.")
