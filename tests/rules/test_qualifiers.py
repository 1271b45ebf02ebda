"""Remarks, their letters, and the words for basis and form."""

from dataclasses import replace

import pytest

from labresults.terms import Basis, Mark, Measure, NotMeasured, Role
from reports.rules.basis import basis_sentences, column_words, form_sentence
from reports.rules.printing import PrintedValue
from reports.rules.qualifiers import (
    BETWEEN_LIMITS,
    CARRY_OVER,
    LINES_DISAGREE,
    OVER_RANGE,
    assign_letters,
    control_kind,
    control_remark,
    marks_beside,
    not_measured_reason,
    remarks_for,
)
from reports.rules.ruleset import Code

NUMBER = PrintedValue("0.4", "0.4", "", None, 1, (), "mg/kg", "one decimal")
SPIKE = control_remark("matrix spike", "61 % of 80 to 120 %", "the parent holds ten times the spike", "R. Ashdown")


@pytest.mark.parametrize(
    ("printed", "remarks"),
    [
        (NUMBER, ()),
        (replace(NUMBER, marks=(Mark.BELOW_QUANTIFICATION,)), (BETWEEN_LIMITS,)),
        (replace(NUMBER, sign="<", marks=(Mark.BELOW_QUANTIFICATION,)), ()),
        (replace(NUMBER, sign="<", marks=(Mark.BELOW_DETECTION,)), ()),
        (replace(NUMBER, sign=">", marks=(Mark.OVER_RANGE,)), (OVER_RANGE,)),
        (replace(NUMBER, marks=(Mark.CARRY_OVER,)), (CARRY_OVER,)),
        (replace(NUMBER, marks=(Mark.LINES_DISAGREE,)), (LINES_DISAGREE,)),
        (replace(NUMBER, sign="<", number=None, marks=(Mark.BELOW_DETECTION, Mark.LINES_DISAGREE)), ()),
        (replace(NUMBER, marks=(Mark.CARRY_OVER, Mark.BELOW_QUANTIFICATION)), (BETWEEN_LIMITS, CARRY_OVER)),
    ],
    ids=[
        "plain",
        "between limits",
        "below reporting limit",
        "below detection limit",
        "over range",
        "carry-over",
        "lines disagree",
        "not found, so nothing to disagree",
        "two",
    ],
)
def test_remarks_of_marks(printed: PrintedValue, remarks: tuple[str, ...]) -> None:
    assert remarks_for(printed) == remarks


def test_an_accepted_failure_is_told_with_reason_and_name() -> None:
    printed = replace(NUMBER, marks=(Mark.BELOW_QUANTIFICATION, Mark.CONTROL_FAILED))
    assert remarks_for(printed, control_remarks=[SPIKE]) == (BETWEEN_LIMITS, SPIKE)
    assert SPIKE == ("Matrix spike: 61 % of 80 to 120 %. Accepted by R. Ashdown: the parent holds ten times the spike.")


def test_a_failed_control_is_never_passed_over() -> None:
    with pytest.raises(ValueError, match="control sample failed"):
        remarks_for(replace(NUMBER, marks=(Mark.CONTROL_FAILED,)))


@pytest.mark.parametrize(
    ("role", "measure", "kind"),
    [
        (Role.SPIKE, Measure.SPIKE_RECOVERY, "matrix spike"),
        (Role.SAMPLE, Measure.INTERNAL_STANDARD, "internal standard recovery"),
        (Role.SAMPLE, Measure.SPREAD, "replicate spread"),
        (Role.CALIBRATION_STANDARD, Measure.CORRELATION, "correlation coefficient"),
        (Role.CALIBRATION_STANDARD, Measure.READ_BACK, "calibration standard"),
    ],
)
def test_a_reading_or_a_curve_is_no_control_sample_and_is_named_by_what_was_judged(
    role: Role, measure: Measure, kind: str
) -> None:
    assert control_kind(role, measure) == kind


@pytest.mark.parametrize(("why", "name"), [("", "R. Ashdown"), ("seen before", " ")])
def test_acceptance_needs_reason_and_name(why: str, name: str) -> None:
    with pytest.raises(ValueError, match="a reason and a name"):
        control_remark("matrix spike", "61 %", why, name)


@pytest.mark.parametrize("reason", NotMeasured)
def test_every_reason_has_plain_words(reason: NotMeasured) -> None:
    words = not_measured_reason(reason)
    assert remarks_for(replace(NUMBER, printed=reason.value, marks=(Mark.NO_VALUE,)), reason) == (words,)
    assert words.endswith(".")


def test_letters_follow_the_order_of_reading() -> None:
    letters = assign_letters(["second here", "other", "second here", *(f"remark {n}" for n in range(26))])
    assert (letters["second here"], letters["other"], letters["remark 23"], letters["remark 24"]) == (
        "a",
        "b",
        "z",
        "aa",
    )
    assert marks_beside(["other", "second here", "other"], letters) == "b, a"
    assert marks_beside([], letters) == ""


def test_basis_in_words() -> None:
    assert basis_sentences([Basis.AS_RECEIVED]) == ("Results are on the sample as received.",)
    assert len(basis_sentences([Basis.DRY, Basis.AS_RECEIVED, Basis.DRY])) == 3
    assert (column_words(Basis.AS_RECEIVED), column_words(Basis.DRY)) == ("", "dry basis")


def test_form_in_words() -> None:
    assert form_sentence("Al", "Al") == ""
    assert form_sentence("Al", "Al2O3").startswith("Al is given as Al2O3")


def test_one_code_says_one_thing_on_a_certificate() -> None:
    # given two rule sets that print one certificate, with a J each
    codes = (Code("J", "Estimated."), Code("U", "Not found."), Code("J", "Held too long."), Code("J", "Spilled."))
    letters = assign_letters(["Estimated.", "Held too long.", "Not found.", "Another remark.", "Spilled."], codes)
    assert letters == {
        "Estimated.": "J", "Held too long.": "J_2", "Not found.": "U", "Another remark.": "a", "Spilled.": "J_3",
    }  # fmt: skip


def test_a_code_for_any_result_is_not_for_what_is_none() -> None:
    codes = (Code("R", "Reported."),)
    assert remarks_for(NUMBER, codes=codes) == ("Reported.",)
    assert remarks_for(replace(NUMBER, printed="<0.2", number=None, sign="<"), codes=codes) == ("Reported.",)
    assert remarks_for(replace(NUMBER, printed="insufficient sample", number=None), codes=codes) == ()


@pytest.mark.parametrize("words", ["Spilled", "Spilled.", " Spilled. "])
def test_what_was_said_ends_with_one_full_stop(words: str) -> None:
    assert control_remark("blank", words, words, "R. Roe") == "Blank: Spilled. Accepted by R. Roe: Spilled."
