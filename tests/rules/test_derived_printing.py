"""Derived results as certificates print them: bounds that hold, and what is said beside them."""

from dataclasses import replace

import pytest

from labresults.calculation.derived import Derived, derive
from labresults.terms import Basis, Mark
from reports.derived import print_found
from reports.rules.censoring import Below
from reports.rules.ruleset import RuleSet
from tests.calculation.derived_builders import a_sum, found, shipped

RULES = RuleSet("Rules", 1)
NOT_FOUND, OVER = (Mark.BELOW_DETECTION,), (Mark.OVER_RANGE,)


def known(**said: object) -> Derived:
    return Derived("mg/L", Basis.AS_RECEIVED, **said)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("derived", "rules", "printed"),
    [
        (known(sign="<", bound=2.05, marks=OVER), RULES, "<2.1"),  # to the nearest figures: <2, which 2.03 is not
        (known(sign="<", bound=2.0, marks=OVER), RULES, "<2"),
        (known(sign="<", bound=0.1 + 0.2, marks=NOT_FOUND), RULES, "<0.3"),  # 0.30000000000000004 means 0.3
        (known(sign="<", bound=0.312, marks=NOT_FOUND), RULES, "<0.32"),
        (known(sign=">", bound=2.098, marks=OVER), RULES, ">2.09"),
        (known(low=0.2, high=0.312, detection_limit=0.25), RULES, "<0.32"),
        (known(value=0.2, detection_limit=0.3), RULES, "<0.3"),
        # Below its quantification limit of 0.9, and perhaps not: a term below its limit leaves 0.92 open
        (known(value=0.8, detection_limit=0.3, quantification_limit=0.9, at_most=0.92),
         replace(RULES, below=Below.QUANTIFICATION_LIMIT), "<0.92"),
        (known(value=0.8, detection_limit=0.3, quantification_limit=0.9, at_most=0.85),
         replace(RULES, below=Below.QUANTIFICATION_LIMIT), "<0.9"),
        # Words for what was not found are for that only
        (known(sign="<", bound=2.05, marks=OVER), replace(RULES, words_not_detected="n.d."), "<2.1"),
        (known(sign="<", bound=2.05, marks=NOT_FOUND), replace(RULES, words_not_detected="n.d."), "n.d."),
        (known(sign=">", bound=8.0), replace(RULES, words_above="over range"), ">8"),
        # As the first edition printed it
        (known(sign="<", bound=2.05, marks=OVER, edition=1), RULES, "<2"),
    ],
)  # fmt: skip
def test_a_bound_is_printed_so_that_it_holds(derived: Derived, rules: RuleSet, printed: str) -> None:
    assert print_found(derived, rules)[0].printed == printed


def test_what_was_found_below_its_quantification_limit_is_not_marked_as_not_found() -> None:
    found_some = known(value=0.8, detection_limit=0.3, quantification_limit=0.9, at_most=0.92)
    printed, _ = print_found(found_some, replace(RULES, below=Below.QUANTIFICATION_LIMIT))
    assert (printed.sign, printed.limit, printed.marks) == ("<", "0.92", (Mark.BELOW_QUANTIFICATION,))


def test_it_is_said_where_what_is_over_range_stands() -> None:
    sar = shipped("sar")
    over = {"over_range": {"Na": False, "Ca": True, "Mg": False}, "upper_limit": {"Na": None, "Ca": 24.0, "Mg": None}}
    divided = derive(sar, found(sar, {"Na": 8.2, "Ca": None, "Mg": 8.0}, "mmol(c)/L", **over))
    printed, remarks = print_found(divided, RULES)  # by hand: 8.2 / √((24 + 8) / 2) = 2.05
    assert printed.printed == "<2.1"
    assert remarks == ("At most this much: what it is divided by is over range.",)
    terms = (sar.terms[0], replace(sar.terms[1], part="a", factor=-0.5))
    less = a_sum("Na", "Ca", unit="mmol(c)/L", terms=terms)
    of_two = {name: {element: one[element] for element in ("Na", "Ca")} for name, one in over.items()}
    taken = derive(less, found(less, {"Na": 14.0, "Ca": None}, "mmol(c)/L", **of_two))
    printed, remarks = print_found(taken, RULES)  # by hand: 14 − 12 = 2
    assert printed.printed == "<2"
    assert remarks == ("At most this much: what is taken away is over range.",)
