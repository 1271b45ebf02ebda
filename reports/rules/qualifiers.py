"""Remarks beside a number: which there are, in which words, and which letter stands for which.

| what happened                                        | the remark                                              |
|------------------------------------------------------|---------------------------------------------------------|
| a number between detection and quantification limit  | found, but not to be relied on as an amount             |
| a number whose control sample failed and was accepted| which control sample, what it gave, why it was accepted |
| `<` below the detection limit                        | none: the sign says it                                  |
| a number read just after a very high one             | that it may hold something of it                        |
| a number whose element's lines disagree              | that another line gave another value                    |
| insufficient sample                                  | in words, in place of the number                        |
| a doubt that was accepted before the work began      | what was seen, and why it was accepted                  |
| measured after the holding time                      | which time, from where, and when it ended               |
| on another basis than its column says                | which one                                               |

Letters follow the order in which the remarks are first met in reading order: a, b, c, ... z, aa, ab. A remark that
says the same has the same letter. The letter stands after the number, never before, where it would read as part of it.

A rule set may have codes instead, as data: the first that fits a result stands beside it, in capitals, with its meaning
once on the page; what only words can say (which control sample, why accepted) keeps its letter.
"""

from collections.abc import Iterable, Sequence

from labresults.terms import OF_CURVES, OF_READINGS, Mark, NotMeasured
from reports.rules.printing import PrintedValue
from reports.rules.ruleset import ANY, Code

BETWEEN_LIMITS = (
    "Between the detection limit and the quantification limit: found, but not to be relied on as an amount."
)
OVER_RANGE = "Above the range that was measured, and not measured again."
CARRY_OVER = "Read just after a solution that held very much: it may hold something of that."
LINES_DISAGREE = (
    "Measured at two wavelengths that disagree by more than the method allows: this is the one that the method prefers."
)

OUTSIDE_SCOPE = "Outside the scope of accreditation."

EPA_CODES = (
    Code(
        "UJ",
        "Looked for and not found; the limit that is given is itself uncertain.",
        "<",
        (Mark.CONTROL_FAILED, Mark.CARRY_OVER, Mark.LINES_DISAGREE),
    ),
    Code("U", "Looked for and not found at or above the limit that is given.", "<"),
    Code(
        "J",
        "Found; the number is an estimate.",
        "number",
        (Mark.BELOW_QUANTIFICATION, Mark.CONTROL_FAILED, Mark.LINES_DISAGREE),
    ),
    Code("J+", "Found; the number is an estimate that may be too high.", "number", (Mark.CARRY_OVER,)),
)
"""Codes after the EPA's National Functional Guidelines for Inorganic Superfund Methods Data Review (2017), definitions
of data qualifiers, in our words; J+ from memory. R (rejected) is never given by a rule: such a result is refused at
Review. Which mark leads to which code is ours."""

_REASONS = {
    NotMeasured.INSUFFICIENT: "There was too little material for this determination.",
    NotMeasured.NOT_RECEIVED: "The sample was announced and did not arrive.",
    NotMeasured.DESTROYED: "The sample was used up or lost before it could be measured.",
    NotMeasured.NOT_REQUESTED: "This determination was not asked for.",
    NotMeasured.INTERFERENCE: "Another element disturbs the measurement so much that no amount can be given.",
}


def not_measured_reason(reason: NotMeasured) -> str:
    """Return in plain words why there is no number."""
    return _REASONS[reason]


def control_kind(role: str, measure: str) -> str:
    """Return what failed, in words: of a reading or a curve what was judged of it, else what the control sample was."""
    return measure.partition(",")[0] if measure in OF_READINGS | OF_CURVES else role


def control_remark(kind: str, what: str, accepted_because: str, accepted_by: str) -> str:
    """Return the remark for a control sample that failed and whose results were accepted by name.

    kind: what it was ("matrix spike"); what: one sentence with its numbers.
    Raises ValueError without a reason and a name: a failed control is never passed over silently.
    """
    if not accepted_because.strip() or not accepted_by.strip():
        raise ValueError(f"A failed {kind} needs a reason and a name. Accept it by name, or measure again.")
    return f"{kind[:1].upper()}{kind[1:]}: {_sentence(what)} Accepted by {accepted_by}: {_sentence(accepted_because)}"


def request_remark(what: str, accepted_because: str) -> str:
    """Return the remark for what was seen when the request was reviewed, and accepted with a reason."""
    return f"Seen before the work was accepted: {_sentence(what)} Accepted: {_sentence(accepted_because)}"


def late_remark(element: str, holding: str, source: str, measured: str, until: str) -> str:
    """Return the remark for a result that was measured after its holding time. holding: "28 days"; days in words."""
    return (
        f"{element} was measured on {measured}, after its holding time of {holding} ({source}), which ended on {until}."
    )


def code_for(printed: PrintedValue, codes: Sequence[Code]) -> Code | None:
    """Return the first code that fits one printed result; words that stand for no result at all have none."""
    if printed.number is None and not printed.sign:
        return None
    kind = printed.sign or "number"
    marks = set(printed.marks)
    return next((c for c in codes if c.of in {ANY, kind} and (not c.marks or marks & set(c.marks))), None)


def remarks_for(
    printed: PrintedValue,
    not_measured: NotMeasured | None = None,
    control_remarks: Sequence[str] = (),
    codes: Sequence[Code] = (),
) -> tuple[str, ...]:
    """Return the remarks that one printed result needs, in order; with codes, what a code says is not said twice.

    Raises ValueError when a control sample failed and nobody says why it is accepted.
    """
    if Mark.CONTROL_FAILED in printed.marks and not control_remarks:
        raise ValueError(
            "A control sample failed for this result. It cannot be printed without the remark that says so."
        )
    code = code_for(printed, codes)
    said = set(code.marks) if code else set()
    remarks = [not_measured_reason(not_measured)] if not_measured else []
    remarks += [code.meaning] if code else []
    remarks += [words for mark, words in _of_marks(printed) if mark not in said]
    return (*remarks, *control_remarks)


def _of_marks(printed: PrintedValue) -> list[tuple[Mark, str]]:
    """What the marks of a result say in words, where its number or sign does not say it already."""
    shown = {
        Mark.BELOW_QUANTIFICATION: printed.sign == "",
        Mark.OVER_RANGE: True,
        Mark.CARRY_OVER: True,
        Mark.LINES_DISAGREE: printed.number is not None,
    }
    words = {
        Mark.BELOW_QUANTIFICATION: BETWEEN_LIMITS,
        Mark.OVER_RANGE: OVER_RANGE,
        Mark.CARRY_OVER: CARRY_OVER,
        Mark.LINES_DISAGREE: LINES_DISAGREE,
    }
    return [(mark, words[mark]) for mark, is_shown in shown.items() if is_shown and mark in printed.marks]


def assign_letters(remarks: Iterable[str], codes: Sequence[Code] = ()) -> dict[str, str]:
    """Return remark -> letter (or code), in the order in which the remarks are first met.

    Where two rule sets print one certificate and give one code two meanings, the second is J_2: a code says one thing.
    """
    fixed = _codes_by_meaning(codes)
    letters: dict[str, str] = {}
    given = 0
    for remark in remarks:
        if remark not in letters:
            letters[remark] = fixed.get(remark) or _letter(given)
            given += remark not in fixed
    return letters


def _codes_by_meaning(codes: Sequence[Code]) -> dict[str, str]:
    fixed: dict[str, str] = {}
    for code in codes:
        alike = sum(1 for taken in fixed.values() if taken == code.code or taken.startswith(f"{code.code}_"))
        fixed.setdefault(code.meaning, f"{code.code}_{alike + 1}" if alike else code.code)
    return fixed


def marks_beside(remarks: Sequence[str], letters: dict[str, str]) -> str:
    """Return what stands after one number: "a", "a, c", or "" for no remark."""
    return ", ".join(dict.fromkeys(letters[remark] for remark in remarks))


def _letter(index: int) -> str:
    name = ""
    index += 1
    while index:
        index, place = divmod(index - 1, 26)
        name = chr(ord("a") + place) + name
    return name


def _sentence(words: str) -> str:
    words = words.strip()
    return words if words.endswith((".", "!", "?")) else words + "."
