"""Approved results and a rule set give a finished certificate: columns, printed strings, remarks, sentences. Pure."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from labresults.terms import Basis
from reports.appendix import control_row
from reports.document import Cell, CertificateDocument, Change, Column, MethodNote, Remark, Row, Signature
from reports.facts import (
    CertificateFacts,
    DeterminationFact,
    LimitFact,
    MethodFact,
    ResultFact,
    SampleFact,
)
from reports.rules.basis import basis_sentences, column_basis, column_words, form_sentence, off_column_remark
from reports.rules.censoring import Limits
from reports.rules.conformity import Compared, DecisionRule, Limit, NotComparable, Statement, print_compared
from reports.rules.printing import Measured, PrintedValue, print_limit, print_measured
from reports.rules.qualifiers import assign_letters, marks_beside, remarks_for
from reports.rules.ruleset import RuleSet, describe
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
    facts: CertificateFacts, rule_set: RuleSet, previous: CertificateDocument | None = None
) -> CertificateDocument:
    """Return the finished document; with `previous`, each changed value is marked and listed.

    Raises Incomplete when a sample has no result for something that was asked of it, ValueError when a failed control
    sample has no remark.
    """
    marks = _method_marks(facts.methods)
    bases = _column_bases(facts)
    printed = _print_all(facts, bases, rule_set)
    letters = assign_letters(remark for _, remarks, _ in printed.values() for remark in remarks)
    columns = tuple(_column(d, facts, bases[d.method, d.element], rule_set, marks) for d in facts.determinations)
    numbers = limit_numbers(facts.limits)
    by_sample: dict[str, dict[tuple[str, str], ResultFact]] = {}
    for result in facts.results:
        by_sample.setdefault(result.sample, {})[result.method, result.element] = result
    rows = tuple(
        _row(
            sample, columns, facts.determinations, by_sample.get(sample.number, {}), printed, letters, numbers, rule_set
        )
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
        rule_name=f"{rule_set.name} v{rule_set.version}",
        rule_text=describe(rule_set),
        uncertainty_text=_uncertainty_text(facts.methods),
        conformity_text=conformity_text(facts.limits, [row.conformity for row in rows]),
        departures=facts.departures,
        statements=standing_statements(facts.invented) + _form_statements(facts.determinations),
        signatures=tuple(Signature(s.name, s.meaning, s.when) for s in facts.signatures),
        chain_head=facts.chain_head,
        check_code=facts.check_code,
        line_rule_nm=tuple(sorted({nm for method in facts.methods for nm in method.wavelengths_nm})),
        replaces=facts.replaces,
        replaces_why=facts.replaces_why,
        preliminary=facts.preliminary,
        conformity_head=conformity_head(facts.limits),
    )
    return _against(document, previous) if previous else document


Key = tuple[str, str, str]  # sample, method, element
Printed = tuple[PrintedValue, tuple[str, ...], Statement | None]


def _print_all(facts: CertificateFacts, bases: dict[tuple[str, str], Basis], rule_set: RuleSet) -> dict[Key, Printed]:
    """Each result as printed, with its remarks in words and its statement of conformity, in reading order."""
    limits = {(limit.limit_set, limit.element): limit for limit in facts.limits}
    limit_sets = {sample.number: sample.limit_set for sample in facts.samples}
    order = {(d.method, d.element): place for place, d in enumerate(facts.determinations)}
    samples = {sample.number: place for place, sample in enumerate(facts.samples)}
    results = sorted(
        (r for r in facts.results if (r.method, r.element) in order and r.sample in samples),
        key=lambda r: (samples[r.sample], order[r.method, r.element]),
    )
    return {
        (r.sample, r.method, r.element): _print(
            r, limits.get((limit_sets[r.sample], r.element)), bases[r.method, r.element], rule_set
        )
        for r in results
    }


def _column_bases(facts: CertificateFacts) -> dict[tuple[str, str], Basis]:
    """What each column, by method and element, is on."""
    found: dict[tuple[str, str], list[Basis]] = {(d.method, d.element): [] for d in facts.determinations}
    for result in (result for result in facts.results if result.value is not None):
        found.setdefault((result.method, result.element), []).append(result.basis)
    return {key: column_basis(bases, facts.basis) for key, bases in found.items()}


def _print(result: ResultFact, limit: LimitFact | None, column: Basis, rule_set: RuleSet) -> Printed:
    measured = Measured(
        None if result.not_measured else result.value,
        result.unit,
        Limits(result.detection_limit, result.quantification_limit, result.upper_limit, result.reporting_limit),
        result.expanded_u,
        result.marks,
        result.not_measured.value if result.not_measured else result.why_no_value,
    )
    compared = _compared(measured, result, limit, rule_set)
    printed = compared.printed if compared else print_measured(measured, rule_set)
    off_column = off_column_remark(result.basis, column) if result.value is not None else ""
    remarks = remarks_for(printed, result.not_measured, result.control_remarks)
    remarks += (*((off_column,) if off_column else ()), *result.request_remarks)
    if compared and compared.footnote:
        remarks += (compared.footnote,)
    return printed, remarks, compared.statement if compared else None


def _compared(measured: Measured, result: ResultFact, limit: LimitFact | None, rule_set: RuleSet) -> Compared | None:
    """The comparison with a limit, where there is one; another unit or basis is not converted: not to be decided."""
    if limit is None:
        return None
    try:
        return print_compared(
            measured,
            result.basis,
            Limit(limit.value, limit.unit, basis=limit.basis, source=limit.source),
            DecisionRule.FOUR_STATEMENTS,
            rule_set,
        )
    except NotComparable:
        return Compared(print_measured(measured, rule_set), Statement.CANNOT_BE_DECIDED)


def _method_marks(methods: Sequence[MethodFact]) -> dict[str, str]:
    """A short mark for each method: what stands before the hyphen, where that tells them apart."""
    short = {method.code: method.code.split("-")[0] for method in methods}
    counts = Counter(short.values())
    return {code: mark if counts[mark] == 1 else code for code, mark in short.items()}


def _column(
    determination: DeterminationFact, facts: CertificateFacts, basis: Basis, rule_set: RuleSet, marks: dict[str, str]
) -> Column:
    own = [r for r in facts.results if (r.method, r.element) == (determination.method, determination.element)]
    detection = Counter(print_limit(r.detection_limit, rule_set) for r in own if not r.not_measured)
    quantification = Counter(print_limit(r.quantification_limit, rule_set) for r in own if not r.not_measured)
    return Column(
        key=_key(determination),
        formula=determination.reported_as,
        unit=determination.unit,
        basis=column_words(basis),
        method=marks[determination.method],
        # The limit that most samples have; a sample with another one shows its own.
        detection_limit=detection.most_common(1)[0][0] if detection else "",
        quantification_limit=quantification.most_common(1)[0][0] if quantification else "",
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
    rule_set: RuleSet,
) -> Row:
    cells, statements = [], []
    for determination, column in zip(determinations, columns, strict=True):
        result = results.get((determination.method, determination.element))
        if result is None:
            if any(method == determination.method for method, _ in results):
                raise Incomplete(f"{determination.element} by {determination.method} has no result in {sample.number}.")
            cells.append(Cell(column.key, "", None, "", None, 0, "", "", None))  # not asked of this sample
            continue
        value, remarks, statement = printed[sample.number, determination.method, determination.element]
        cells.append(_cell(column, result, value, marks_beside(remarks, letters), rule_set))
        if statement is not None:
            statements.append((determination.reported_as, statement))
    conformity, conforms = conformity_of_row(statements, numbers.get(sample.limit_set, 0))
    return Row(
        sample.number,
        sample.client_identification,
        sample.matrix,
        sample.condition,
        tuple(cells),
        conformity,
        conforms,
    )


def _cell(column: Column, result: ResultFact, value: PrintedValue, mark: str, rule_set: RuleSet) -> Cell:
    in_words = result.not_measured is not None
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


def _against(document: CertificateDocument, previous: CertificateDocument) -> CertificateDocument:
    """Mark and list what changed from the issue that this one replaces."""
    old = {(row.number, cell.column): cell.printed for row in previous.rows for cell in row.cells}
    rows, changes = [], []
    for row in document.rows:
        cells = []
        for cell in row.cells:
            before = old.get((row.number, cell.column), "")
            if before != cell.printed:
                changes.append(Change(row.number, cell.column, before or "nothing", cell.printed))
            cells.append(replace(cell, changed=before != cell.printed))
        rows.append(replace(row, cells=tuple(cells)))
    return replace(document, rows=tuple(rows), changes=tuple(changes))
