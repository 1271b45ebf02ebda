"""Approved results and a rule set give a finished certificate: columns, printed strings, remarks, sentences. Pure."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

from labresults.terms import Basis
from reports.appendix import control_row
from reports.changes import against
from reports.derived import print_derived, remarks_of, with_derived
from reports.document import Cell, CertificateDocument, Column, MethodNote, Remark, Row, Signature
from reports.facts import CertificateFacts, DeterminationFact, MethodFact, ResultFact, SampleFact
from reports.printed import Key, Printed, Rules, column_bases, determination_in_form, in_form, print_all
from reports.rules.basis import basis_sentences, column_words, form_sentence
from reports.rules.printing import print_limit
from reports.rules.qualifiers import assign_letters, marks_beside
from reports.rules.rule_words import describe
from reports.rules.ruleset import RuleSet
from reports.statements import (
    conformity_head,
    conformity_of_row,
    conformity_text,
    limit_numbers,
    standing_statements,
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
    marks = _method_marks(facts.methods)
    bases = column_bases(facts)
    printed = print_all(facts, rules)
    every = rules.every(d.method for d in facts.determinations)
    derived = print_derived(facts.derived, rule_set)
    letters = assign_letters(
        [remark for one in printed.values() for remark in one.remarks] + remarks_of(derived),
        [code for one in every for code in one.codes],
    )
    by_column: dict[tuple[str, str], list[ResultFact]] = {}
    by_sample: dict[str, dict[tuple[str, str], ResultFact]] = {}
    for result in facts.results:
        by_column.setdefault((result.method, result.element), []).append(result)
        by_sample.setdefault(result.sample, {})[result.method, result.element] = result
    columns = tuple(
        _column(d, by_column.get((d.method, d.element), []), bases[d.method, d.element], rules, marks)
        for d in facts.determinations
    )
    numbers = limit_numbers(facts.limits)
    rows = tuple(
        _row(sample, columns, facts.determinations, by_sample.get(sample.number, {}), printed, letters, numbers, rules)
        for sample in facts.samples
    )
    document = CertificateDocument(
        title="Certificate of analysis",
        laboratory=facts.laboratory,
        address=facts.address,
        place_of_work=facts.place_of_work,
        number=facts.number,
        issue=facts.issue,
        client=facts.client,
        client_address=facts.client_address,
        reference=facts.reference,
        submission=facts.submission,
        submissions=facts.submissions,
        sampling=facts.sampling,
        received=facts.received,
        sampled=facts.sampled,
        measured=facts.measured,
        issued=facts.issued,
        reported_on=" ".join(basis_sentences(result.basis for result in facts.results)),
        description=_description(facts),
        columns=columns,
        rows=rows,
        remarks=tuple(Remark(letter, words) for words, letter in letters.items()),
        methods=tuple(_method_note(method, marks) for method in facts.methods),
        controls=tuple(control_row(control, rule_set) for control in facts.controls),
        rule_name=_rule_name(rules, facts.determinations),
        rule_text=_rule_text(rules, facts.determinations),
        uncertainty_text=_uncertainty_text(facts.methods),
        conformity_text=conformity_text(facts, rules, [row.conformity for row in rows]),
        departures=facts.departures,
        statements=standing_statements(facts) + _form_statements(facts.determinations),
        signatures=tuple(Signature(s.name, s.meaning, s.when) for s in facts.signatures),
        chain_head=facts.chain_head,
        check_code=facts.check_code,
        line_rule_nm=tuple(sorted({nm for method in facts.methods for nm in method.wavelengths_nm})),
        replaces=facts.replaces,
        replaces_why=facts.replaces_why,
        preliminary=facts.preliminary,
        conformity_head=conformity_head(facts.limits),
        sampling_notes=facts.sampling_notes,
        opinions=facts.opinions,
        accreditation=facts.accreditation,
    )
    document = with_derived(document, derived, letters, rule_set)
    return against(document, previous) if previous else document


def _in_forms(facts: CertificateFacts, rules: Rules) -> CertificateFacts:
    """Every result and column as element or oxide, as its rules ask."""
    return replace(
        facts,
        results=tuple(in_form(result, rules.of(result.method)) for result in facts.results),
        determinations=tuple(determination_in_form(d, rules.of(d.method)) for d in facts.determinations),
    )


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
    results: Sequence[ResultFact],
    basis: Basis,
    rules: Rules,
    marks: dict[str, str],
) -> Column:
    rule_set = rules.of(determination.method)
    detection = Counter(print_limit(r.detection_limit, rule_set) for r in results if not r.not_measured)
    quantification = Counter(print_limit(r.quantification_limit, rule_set) for r in results if not r.not_measured)
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
    printed: dict[Key, Printed],
    letters: dict[str, str],
    numbers: dict[str, int],
    rules: Rules,
) -> Row:
    cells, compared = [], []
    for determination, column in zip(determinations, columns, strict=True):
        result = results.get((determination.method, determination.element))
        if result is None:
            if any(method == determination.method for method, _ in results):
                raise Incomplete(f"{determination.element} by {determination.method} has no result in {sample.number}.")
            cells.append(Cell(column.key, "", None, "", None, 0, "", "", None))  # not asked of this sample
            continue
        one = printed[sample.number, determination.method, determination.element]
        cells.append(_cell(column, result, one, marks_beside(one.remarks, letters), rules.of(determination.method)))
        if one.compared is not None:
            compared.append((determination.reported_as, one.compared))
    conformity, conforms = conformity_of_row(compared, numbers.get(sample.limit_set, 0))
    return Row(
        sample.number,
        sample.client_identification,
        sample.matrix,
        sample.condition,
        tuple(cells),
        conformity,
        conforms,
        sample.submission,
    )


def _cell(column: Column, result: ResultFact, printed: Printed, mark: str, rule_set: RuleSet) -> Cell:
    in_words, value = result.not_measured is not None, printed.value
    return Cell(
        column=column.key,
        printed=value.printed,
        number=value.number,
        sign=value.sign,
        limit=value.limit,
        decimals=value.decimals,
        mark=mark,
        u=value.u,
        result=result.result,
        detection_limit="" if in_words else print_limit(result.detection_limit, rule_set),
        quantification_limit="" if in_words else print_limit(result.quantification_limit, rule_set),
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


def _uncertainty_text(methods: Sequence[MethodFact]) -> str:
    factors = sorted({method.coverage_factor for method in methods})
    named = " and ".join(f"{factor:g}" for factor in factors)
    bases = " ".join(f"{method.code}: {method.uncertainty_basis}" for method in methods)
    said = f"U is the expanded uncertainty of each value, in its unit; coverage factor k = {named}, about 95 %."
    return f"{said} {bases}"


def _form_statements(determinations: Sequence[DeterminationFact]) -> tuple[str, ...]:
    sentences = (form_sentence(d.element, d.reported_as) for d in determinations)
    return tuple(dict.fromkeys(sentence for sentence in sentences if sentence))
