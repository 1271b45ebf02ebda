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
"""

from collections.abc import Iterable, Sequence

from labresults.terms import OF_CURVES, OF_READINGS, Mark, NotMeasured
from reports.rules.printing import PrintedValue

BETWEEN_LIMITS = (
    "Between the detection limit and the quantification limit: found, but not to be relied on as an amount."
)
OVER_RANGE = "Above the range that was measured, and not measured again."
CARRY_OVER = "Read just after a solution that held very much: it may hold something of that."
LINES_DISAGREE = (
    "Measured at two wavelengths that disagree by more than the method allows: this is the one that the method prefers."
)

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


def remarks_for(
    printed: PrintedValue, not_measured: NotMeasured | None = None, control_remarks: Sequence[str] = ()
) -> tuple[str, ...]:
    """Return the remarks that one printed result needs, in order.

    Raises ValueError when a control sample failed and nobody says why it is accepted.
    """
    if Mark.CONTROL_FAILED in printed.marks and not control_remarks:
        raise ValueError(
            "A control sample failed for this result. It cannot be printed without the remark that says so."
        )
    remarks = [not_measured_reason(not_measured)] if not_measured else []
    if Mark.BELOW_QUANTIFICATION in printed.marks and printed.sign == "":
        remarks.append(BETWEEN_LIMITS)
    if Mark.OVER_RANGE in printed.marks:
        remarks.append(OVER_RANGE)
    if Mark.CARRY_OVER in printed.marks:
        remarks.append(CARRY_OVER)
    if Mark.LINES_DISAGREE in printed.marks and printed.number is not None:
        remarks.append(LINES_DISAGREE)
    return (*remarks, *control_remarks)


def assign_letters(remarks: Iterable[str]) -> dict[str, str]:
    """Return remark -> letter, in the order in which the remarks are first met."""
    letters: dict[str, str] = {}
    for remark in remarks:
        letters.setdefault(remark, _letter(len(letters)))
    return letters


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
