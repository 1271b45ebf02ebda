"""Approved results and a rule set give a finished certificate: columns, printed strings, remarks, sentences. Pure."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from typing import Any

from labresults.terms import Basis
from reports.appendix import control_row
from reports.changes import against
from reports.derived import PrintedDerived, remarks_of, with_derived
from reports.derived_stated import compared_of, print_derived
from reports.document import Cell, CertificateDocument, Column, MethodNote, Remark, Row, Signature
from reports.facts import CertificateFacts, DeterminationFact, MethodFact, ResultFact, SampleFact
from reports.printed import Key, Printed, Rules, column_bases, determination_in_form, in_form, print_all
from reports.rules.basis import basis_sentences, column_words, form_sentence
from reports.rules.compared import Compared
from reports.rules.conformity import Statement
from reports.rules.forms import NoForm
from reports.rules.qualifiers import assign_letters, marks_beside
from reports.rules.rule_words import describe
from reports.rules.ruleset import RuleSet
from reports.statements import (
    conformity_head,
    conformity_of_row,
    conformity_text,
    limit_numbers,
    standing_statements,
    stated_of,
    uncertainty_text,
)


class Incomplete(ValueError):
    """A certificate cannot be composed: says which result is missing, and of which sample."""


def compose(
    facts: CertificateFacts,
    rule_set: RuleSet,
    previous: CertificateDocument | None = None,
    rule_sets: Mapping[str, RuleSet] | None = None,
) -> CertificateDocument:
    """Return the finished document; with `previous`, each changed value is marked and listed.

    rule_sets: by the code of a method whose columns are printed by other rules. Raises Incomplete when a sample has no
    result for something that was asked of it, ValueError when a failed control sample has no remark, WrongBasis, NoForm
    and UnknownCompound where the rules ask for what a result cannot give.
    """
    rules = Rules(rule_set, rule_sets or {})
    facts = _in_forms(facts, rules)
    printed = print_all(facts, rules)
    derived = print_derived(facts.derived, rule_set, facts.limits)
    computed = compared_of(derived)
    letters = _letters(printed, derived, rules.every(d.method for d in facts.determinations))
    columns = _columns(facts, printed, rules)
    rows = _rows(facts, columns, printed, letters, computed)
    document = _document(facts, rules, columns, rows, letters, stated_of(printed, computed))
    document = with_derived(document, derived, letters, rule_set)
    return against(document, previous) if previous else document


_AS_GIVEN = tuple(
    {field.name for field in fields(CertificateDocument)}
    & {field.name for field in fields(CertificateFacts)} - {"methods", "controls", "signatures"}
)
"""What a certificate says as it was given: printed as it is."""


def _document(
    facts: CertificateFacts,
    rules: Rules,
    columns: tuple[Column, ...],
    rows: tuple[Row, ...],
    letters: dict[str, str],
    stated: Mapping[str, set[Statement]],
) -> CertificateDocument:
    """The document without its derived results."""
    as_given: dict[str, Any] = {name: getattr(facts, name) for name in _AS_GIVEN}
    marks = _method_marks(facts.methods)
    return CertificateDocument(
        **as_given,
        title="Certificate of analysis",
        reported_on=" ".join(basis_sentences(result.basis for result in facts.results)),
        description=_description(facts),
        columns=columns,
        rows=rows,
        remarks=tuple(Remark(letter, words) for words, letter in letters.items()),
        methods=tuple(_method_note(method, marks) for method in facts.methods),
        controls=tuple(control_row(control, rules.main) for control in facts.controls),
        rule_name=_rule_name(rules, facts.determinations),
        rule_text=_rule_text(rules, facts.determinations),
        uncertainty_text=uncertainty_text(facts.methods),
        conformity_text=conformity_text(facts, rules, stated),
        statements=standing_statements(facts) + _form_statements(facts.determinations),
        signatures=tuple(Signature(s.name, s.meaning, s.when) for s in facts.signatures),
        line_rule_nm=tuple(sorted({nm for method in facts.methods for nm in method.wavelengths_nm})),
        conformity_head=conformity_head(facts, rules),
    )


def _letters(
    printed: Mapping[Key, Printed], derived: Sequence[PrintedDerived], every: Sequence[RuleSet]
) -> dict[str, str]:
    """The letter, or the code, of each remark, in reading order."""
    remarks = [remark for one in printed.values() for remark in one.remarks] + remarks_of(derived)
    return assign_letters(remarks, [code for one in every for code in one.codes])


def _columns(facts: CertificateFacts, printed: Mapping[Key, Printed], rules: Rules) -> tuple[Column, ...]:
    marks, bases = _method_marks(facts.methods), column_bases(facts)
    by_column: dict[tuple[str, str], list[Printed]] = {}
    for result in facts.results:
        one = printed.get((result.sample, result.method, result.element))
        if one is not None and not result.not_measured:
            by_column.setdefault((result.method, result.element), []).append(one)
    return tuple(
        _column(d, by_column.get((d.method, d.element), []), bases[d.method, d.element], rules, marks)
        for d in facts.determinations
    )


def _rows(
    facts: CertificateFacts,
    columns: Sequence[Column],
    printed: Mapping[Key, Printed],
    letters: dict[str, str],
    computed: Mapping[str, Sequence[tuple[str, Compared]]],
) -> tuple[Row, ...]:
    by_sample: dict[str, dict[tuple[str, str], ResultFact]] = {}
    for result in facts.results:
        by_sample.setdefault(result.sample, {})[result.method, result.element] = result
    numbers = limit_numbers(facts.limits)
    rows = (
        (_row(sample, columns, facts.determinations, by_sample.get(sample.number, {}), printed, letters), sample)
        for sample in facts.samples
    )
    return tuple(
        _with_statement(row, [*compared, *computed.get(sample.number, ())], numbers.get(sample.limit_set, 0))
        for (row, compared), sample in rows
    )


def _with_statement(row: Row, compared: Sequence[tuple[str, Compared]], number: int) -> Row:
    conformity, conforms = conformity_of_row(compared, number)
    return replace(row, conformity=conformity, conforms=conforms)


def _in_forms(facts: CertificateFacts, rules: Rules) -> CertificateFacts:
    """Every result and column as element or oxide, as its rules ask."""
    determinations = tuple(determination_in_form(d, rules.of(d.method)) for d in facts.determinations)
    named: dict[str, str] = {}
    for of in determinations:
        other = named.setdefault(_key(of), of.element)
        if other != of.element:
            raise NoForm(
                f"{other} and {of.element} by {of.method} are both printed as {of.reported_as}: columns need names"
                " that differ. Change the forms in the reporting rules."
            )
    results = tuple(in_form(result, rules.of(result.method)) for result in facts.results)
    return replace(facts, results=results, determinations=determinations)


def _by_method(rules: Rules, determinations: Sequence[DeterminationFact]) -> dict[str, RuleSet]:
    """Methods of this certificate that have rules of their own."""
    methods = dict.fromkeys(determination.method for determination in determinations)
    return {method: rules.of(method) for method in methods if str(rules.of(method)) != str(rules.main)}


def _rule_name(rules: Rules, determinations: Sequence[DeterminationFact]) -> str:
    others = _by_method(rules, determinations)
    return "; ".join([str(rules.main), *(f"{method} by {other}" for method, other in others.items())])


def _rule_text(rules: Rules, determinations: Sequence[DeterminationFact]) -> str:
    others = {str(other): other for other in _by_method(rules, determinations).values()}
    return " ".join([describe(rules.main), *(f"{name}: {describe(other)}" for name, other in others.items())])


def _method_marks(methods: Sequence[MethodFact]) -> dict[str, str]:
    """A short mark for each method: what stands before the hyphen, where that tells them apart."""
    short = {method.code: method.code.split("-")[0] for method in methods}
    counts = Counter(short.values())
    return {code: mark if counts[mark] == 1 else code for code, mark in short.items()}


def _column(
    determination: DeterminationFact,
    printed: Sequence[Printed],
    basis: Basis,
    rules: Rules,
    marks: dict[str, str],
) -> Column:
    rule_set = rules.of(determination.method)
    detection = Counter(one.detection_limit for one in printed)
    quantification = Counter(one.quantification_limit for one in printed)
    return Column(
        key=_key(determination),
        formula=determination.reported_as,
        unit=determination.unit,
        basis=column_words(basis),
        method=marks[determination.method],
        # The limit that most samples have; a sample with another one shows its own.
        detection_limit=detection.most_common(1)[0][0] if detection else "",
        quantification_limit=quantification.most_common(1)[0][0] if quantification else "",
        rule_set="" if rule_set is rules.main else str(rule_set),
    )


def _key(determination: DeterminationFact) -> str:
    return f"{determination.method} {determination.reported_as}"


def _row(
    sample: SampleFact,
    columns: Sequence[Column],
    determinations: Sequence[DeterminationFact],
    results: dict[tuple[str, str], ResultFact],
    printed: Mapping[Key, Printed],
    letters: dict[str, str],
) -> tuple[Row, list[tuple[str, Compared]]]:
    """A sample as printed, and what its measured results were compared with."""
    cells, compared = [], []
    for determination, column in zip(determinations, columns, strict=True):
        result = results.get((determination.method, determination.element))
        if result is None:
            if any(method == determination.method for method, _ in results):
                raise Incomplete(f"{determination.element} by {determination.method} has no result in {sample.number}.")
            cells.append(Cell(column.key, "", None, "", None, 0, "", "", None))  # not asked of this sample
            continue
        one = printed[sample.number, determination.method, determination.element]
        cells.append(_cell(column.key, result.result, one, marks_beside(one.remarks, letters)))
        if one.compared is not None:
            compared.append((determination.reported_as, one.compared))
    row = Row(
        sample.number,
        sample.client_identification,
        sample.matrix,
        sample.condition,
        tuple(cells),
        submission=sample.submission,
    )
    return row, compared


def _cell(column: str, result: int | None, printed: Printed, mark: str) -> Cell:
    value = printed.value
    return Cell(
        column=column,
        printed=value.printed,
        number=value.number,
        sign=value.sign,
        limit=value.limit,
        decimals=value.decimals,
        mark=mark,
        u=value.u,
        result=result,
        detection_limit=printed.detection_limit,
        quantification_limit=printed.quantification_limit,
        statement=printed.compared.words if printed.compared else "",
    )


def _description(facts: CertificateFacts) -> str:
    kinds = Counter(sample.matrix for sample in facts.samples)
    parts = [f"{count} sample{'' if count == 1 else 's'} of {matrix}" for matrix, count in kinds.items()]
    noted = sum(bool(sample.condition) for sample in facts.samples)
    condition = facts.condition or "in good order"
    return f"{', '.join(parts)}; {condition}" + (f"; a note on {noted} of them stands in the table" if noted else "")


def _method_note(method: MethodFact, marks: dict[str, str]) -> MethodNote:
    return MethodNote(
        mark=marks[method.code],
        code=method.code,
        version=method.version,
        what_was_done=method.what_was_done,
        lines=method.lines,
        runs=method.runs,
        blank=method.blank,
        accredited=method.accredited,
        external=method.external,
    )


def _form_statements(determinations: Sequence[DeterminationFact]) -> tuple[str, ...]:
    sentences = (form_sentence(d.element, d.reported_as) for d in determinations)
    return tuple(dict.fromkeys(sentence for sentence in sentences if sentence))
