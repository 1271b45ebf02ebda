"""Derived results as a certificate prints them: columns after the measured ones, means over sets in their own table.

| known of it                  | printed    | because                                                        |
|------------------------------|------------|----------------------------------------------------------------|
| 166.03, limits 0.3 and 0.9   | 166        | as a measured result of these limits is                        |
| 0.2, detection limit 0.3     | <0.3       | the total carries a limit of its own                           |
| 0.8, at most 0.92            | <0.92      | rules print < below 0.9, and that is not certain               |
| nothing found, at most 0.312 | <0.32      | what its limits allow; rounded up, so that it holds            |
| at most 2.05                 | <2.1       | a term is over range; rounded up                               |
| at least 105                 | >105       | a term is over range; rounded down, so that it holds           |
| 10 to 14                     | 10 to 14   | a term below its limit counts as a range                       |
| 10.02 to 10.04               | 10.0       | both ends print alike                                          |
| a term has no value          | no value   | a remark says which one, and why                               |

Everything is decided on unrounded values (`labresults.calculation.derived`) and rounded once, here. What was derived by
the first edition is printed as it was then: a bound after < to the nearest figure, and bounds in words that fit only
what was not found or was over range.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from math import nextafter

from labresults.calculation.derived import Derived
from labresults.calculation.derived_formula import Entered
from labresults.calculation.derived_terms import Definition, below_in_words, formula_in_words
from labresults.terms import Basis, Mark
from reports.document import Cell, CertificateDocument, Column, DerivedNote, Grade, Row
from reports.facts import DerivedFact
from reports.rules.basis import column_words
from reports.rules.censoring import Limits
from reports.rules.compared import Compared
from reports.rules.printing import Measured, PrintedValue, print_limit, print_measured
from reports.rules.qualifiers import marks_beside, remarks_for
from reports.rules.rounding import FIGURES_THAT_MEAN, exact, round_significant, text
from reports.rules.ruleset import RuleSet

METHOD = "computed"
"""What stands in the head of a derived column where others name their method."""

NO_VALUE = "no value"
TO = " to "
"""Between the ends of a range."""

AT_LEAST = "At least this much: {} over range, or what it is divided by was not found."
AT_MOST = "At most this much: {} over range."


@dataclass(frozen=True)
class PrintedDerived:
    """One derived result as printed, with its remarks in words; compared: with its limit, None where it has none."""

    fact: DerivedFact
    value: PrintedValue
    remarks: tuple[str, ...]
    compared: Compared | None = None


def print_found(found: Derived, rule_set: RuleSet, extra: int = 0) -> tuple[PrintedValue, tuple[str, ...]]:
    """Return what is printed of one derived result, and the remarks beside it.

    extra: more figures than the rule has, where its print would contradict its statement of conformity.
    """
    if found.why:
        words = Measured(None, found.unit, Limits(0.0, 0.0), why_no_value=NO_VALUE)
        return print_measured(words, rule_set), (f"No value: {found.why}.",)
    if found.low is not None and found.high is not None:
        return _range(found, rule_set, extra), _left_out(found)
    printed = _number_or_bound(found, rule_set, extra)
    return printed, (*_bound_remarks(found), *_of_marks(printed, found, rule_set), *_left_out(found))


def _number_or_bound(found: Derived, rule_set: RuleSet, extra: int) -> PrintedValue:
    """A bound is printed as a limit that the value lies beyond."""
    if found.sign == ">":
        over = Measured(None, found.unit, Limits(0.0, 0.0, upper=found.bound), marks=(Mark.OVER_RANGE,))
        is_over = found.edition == 1 or Mark.OVER_RANGE in found.marks
        return print_measured(over, rule_set if is_over else replace(rule_set, words_above=""), extra)
    if found.sign == "<" and found.bound:
        return _at_most(found.bound, found, rule_set, extra)
    printed = print_measured(as_measured(found), rule_set, extra)
    if found.at_most is not None and printed.limit and exact(found.at_most) > Decimal(printed.limit):
        return replace(_at_most(found.at_most, found, rule_set, extra), marks=printed.marks)
    return printed


def as_measured(found: Derived) -> Measured:
    """Return what the printing rules ask of a derived result that is a number."""
    limits = Limits(found.detection_limit, found.quantification_limit)
    return Measured(found.value, found.unit, limits, found.expanded_u, found.marks, None, found.coverage_factor)


def _at_most(bound: float, found: Derived, rule_set: RuleSet, extra: int) -> PrintedValue:
    """A bound after <: the value lies just under it, so that it is rounded up.

    Words for what was not found are left to that: they would be untrue of what is only bounded.
    """
    if found.edition == 1:
        return print_measured(Measured(0.0, found.unit, Limits(bound, bound)), rule_set, extra)
    if Mark.BELOW_DETECTION not in found.marks:
        rule_set = replace(rule_set, words_not_detected="")
    means = float(round_significant(bound, FIGURES_THAT_MEAN, rule_set.tie))
    return print_measured(Measured(nextafter(means, 0.0), found.unit, Limits(means, means)), rule_set, extra)


def _range(found: Derived, rule_set: RuleSet, extra: int) -> PrintedValue:
    """From the least to the most that it may be; one number where both are printed alike."""
    limits = Limits(found.detection_limit, found.quantification_limit)
    low, high = (print_measured(Measured(end, found.unit, limits), rule_set, extra) for end in (found.low, found.high))
    if low.printed == high.printed:
        return high
    if low.sign == "<":  # nothing of it is found for certain
        return _at_most(found.high or 0.0, found, rule_set, extra)
    return replace(high, printed=f"{low.printed}{TO}{high.printed}", number=None, text_rule="a range", u="")


def _bound_remarks(found: Derived) -> tuple[str, ...]:
    over = [each for each in found.entered if each.given.value is None]
    if found.sign == ">":
        labels = [each.given.label for each in over]
        return (AT_LEAST.format(f"{' and '.join(labels)} is" if labels else "a term is"),)
    if found.sign != "<" or Mark.OVER_RANGE not in found.marks:
        return ()
    where = dict.fromkeys(map(_where, over))
    return (AT_MOST.format(f"{' and '.join(where)} {'is' if len(where) == 1 else 'are'}"),)


def _where(each: Entered) -> str:
    return "what it is divided by" if each.b else "what is taken away"


def _of_marks(printed: PrintedValue, found: Derived, rule_set: RuleSet) -> tuple[str, ...]:
    """What is said of a number near its limits; of a bound its own remark says it."""
    return () if found.sign else remarks_for(printed, codes=rule_set.codes)


def _left_out(found: Derived) -> tuple[str, ...]:
    return (f"Computed without {'; '.join(found.lacking)}.",) if found.lacking else ()


def remarks_of(printed: Iterable[PrintedDerived]) -> list[str]:
    """Return the remarks in the order in which they are met."""
    return [remark for one in printed for remark in one.remarks]


def with_derived(
    document: CertificateDocument, printed: Sequence[PrintedDerived], letters: Mapping[str, str], rule_set: RuleSet
) -> CertificateDocument:
    """Return the document with its derived columns, the notes that explain them, and the table of means."""
    if not printed:
        return document
    definitions = {one.fact.definition.code: one.fact.definition for one in printed}
    of_samples = [d for d in definitions.values() if not d.of_set]
    of_sets = [d for d in definitions.values() if d.of_set]
    cells = {(one.fact.sample or one.fact.sample_set, one.fact.definition.code): one for one in printed}
    columns = [_column(definition, printed, rule_set) for definition in of_samples]
    return replace(
        document,
        columns=(*document.columns, *columns),
        rows=tuple(_row(row, of_samples, cells, letters, rule_set) for row in document.rows),
        derived_notes=tuple(_note(definition) for definition in definitions.values()),
        grade_columns=tuple(_column(definition, printed, rule_set) for definition in of_sets),
        grades=_grades(printed, of_sets, cells, letters, rule_set),
        derivation=max(one.fact.found.edition for one in printed),
    )


Cells = Mapping[tuple[str, str], PrintedDerived]


def _row(
    row: Row, definitions: Sequence[Definition], cells: Cells, letters: Mapping[str, str], rule_set: RuleSet
) -> Row:
    own = (_cell(d, cells.get((row.number, d.code)), letters, rule_set) for d in definitions)
    return replace(row, cells=(*row.cells, *own))


def _cell(definition: Definition, one: PrintedDerived | None, letters: Mapping[str, str], rule_set: RuleSet) -> Cell:
    if one is None:
        return Cell(definition.code, "", None, "", None, 0, "", "", None)  # not asked of this sample
    value, found = one.value, one.fact.found
    return Cell(
        column=definition.code,
        printed=value.printed,
        number=value.number,
        sign=value.sign,
        limit=value.limit,
        decimals=value.decimals,
        mark=marks_beside(one.remarks, dict(letters)),
        u=value.u,
        result=None,
        detection_limit=print_limit(found.detection_limit, rule_set),
        quantification_limit=print_limit(found.quantification_limit, rule_set),
        statement=one.compared.words if one.compared else "",
    )


def _column(definition: Definition, printed: Sequence[PrintedDerived], rule_set: RuleSet) -> Column:
    own = [one.fact.found for one in printed if one.fact.definition.code == definition.code and not one.fact.found.why]
    detection, quantification = (
        Counter(print_limit(getattr(found, name), rule_set) for found in own)
        for name in ("detection_limit", "quantification_limit")
    )
    bases = Counter(found.basis for found in own)
    return Column(
        key=definition.code,
        formula=definition.reported_as,
        unit=definition.unit,
        basis=column_words(bases.most_common(1)[0][0] if bases else Basis.AS_RECEIVED),
        method=METHOD,
        detection_limit=detection.most_common(1)[0][0] if detection else "",
        quantification_limit=quantification.most_common(1)[0][0] if quantification else "",
        derived=True,
    )


def _note(definition: Definition) -> DerivedNote:
    return DerivedNote(
        column=definition.code,
        heading=definition.reported_as,
        name=f"{definition.name}, definition v{definition.version}",
        formula=formula_in_words(definition),
        below=below_in_words(definition),
        source=definition.source.rstrip("."),
        remark=definition.remark,
    )


def _grades(
    printed: Sequence[PrintedDerived],
    definitions: Sequence[Definition],
    cells: Cells,
    letters: Mapping[str, str],
    rule_set: RuleSet,
) -> tuple[Grade, ...]:
    sets = {one.fact.sample_set: one.fact for one in printed if one.fact.sample_set}
    return tuple(
        Grade(
            name=name,
            samples=fact.members,
            mass=text(round_significant(fact.mass_kg, 7, rule_set.tie).normalize()),
            cells=tuple(_cell(d, cells.get((name, d.code)), letters, rule_set) for d in definitions),
        )
        for name, fact in sorted(sets.items())
    )
