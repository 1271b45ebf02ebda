"""Results and reporting rules give what is printed of each: string, remarks, statement of conformity. Pure."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from labresults.terms import Basis, Mark
from reports.facts import CertificateFacts, DeterminationFact, LimitFact, ResultFact
from reports.rules.basis import column_basis, off_column_remark
from reports.rules.censoring import Limits
from reports.rules.compared import Compared, print_compared
from reports.rules.conformity import Limit, NotComparable, Rule, Statement
from reports.rules.forms import form_factor
from reports.rules.printing import Measured, PrintedValue, print_limit, print_measured
from reports.rules.qualifiers import OUTSIDE_SCOPE, remarks_for
from reports.rules.ruleset import RuleSet

Key = tuple[str, str, str]  # sample, method, element


class WrongBasis(ValueError):
    """A result is on another basis than its reporting rules allow: says which one, and what to do."""


@dataclass(frozen=True)
class Rules:
    """The reporting rules of a certificate: one set, and others for single methods (by code)."""

    main: RuleSet
    by_method: Mapping[str, RuleSet] = field(default_factory=dict)

    def of(self, method: str) -> RuleSet:
        """Return the rule set for the columns of a method."""
        return self.by_method.get(method, self.main)

    def every(self, methods: Iterable[str]) -> tuple[RuleSet, ...]:
        """Return each rule set that prints a column of these methods, once, in their order."""
        return tuple({str(rules): rules for rules in map(self.of, methods)}.values()) or (self.main,)


@dataclass(frozen=True)
class Printed:
    """One result as printed, with its remarks in words; compared: with its limit, None where it has none.

    detection_limit, quantification_limit: as a column head shows them; "" where there is none, or nothing was measured.
    """

    value: PrintedValue
    remarks: tuple[str, ...]
    compared: Compared | None
    detection_limit: str = ""
    quantification_limit: str = ""


def in_form(fact: ResultFact, rule_set: RuleSet) -> ResultFact:
    """Return a result in the form that its rule set asks for, not rounded. Raises NoForm, UnknownCompound."""
    form = rule_set.form_of(fact.element) or fact.reported_as
    times = form_factor(fact.element, fact.reported_as, form, fact.unit)
    if times == 1.0:
        return replace(fact, reported_as=form) if form != fact.reported_as else fact

    def scaled(number: float | None) -> float | None:
        return None if number is None else number * times

    return replace(
        fact,
        reported_as=form,
        value=scaled(fact.value),
        detection_limit=fact.detection_limit * times,
        quantification_limit=fact.quantification_limit * times,
        reporting_limit=scaled(fact.reporting_limit),
        upper_limit=scaled(fact.upper_limit),
        expanded_u=scaled(fact.expanded_u),
    )


def determination_in_form(fact: DeterminationFact, rule_set: RuleSet) -> DeterminationFact:
    """Return what a column holds, in the form that its rule set asks for."""
    return replace(fact, reported_as=rule_set.form_of(fact.element) or fact.reported_as)


def column_bases(facts: CertificateFacts) -> dict[tuple[str, str], Basis]:
    """Return what each column, by method and element, is on."""
    found: dict[tuple[str, str], list[Basis]] = {(d.method, d.element): [] for d in facts.determinations}
    for result in (result for result in facts.results if result.value is not None):
        found.setdefault((result.method, result.element), []).append(result.basis)
    return {key: column_basis(bases, facts.basis) for key, bases in found.items()}


def print_all(facts: CertificateFacts, rules: Rules) -> dict[Key, Printed]:
    """Return each result as printed, in reading order; results are in the form of their rules already."""
    limits = {(limit.limit_set, limit.element): limit for limit in facts.limits}
    limit_sets = {sample.number: sample.limit_set for sample in facts.samples}
    order = {(d.method, d.element): place for place, d in enumerate(facts.determinations)}
    samples = {sample.number: place for place, sample in enumerate(facts.samples)}
    bases = column_bases(facts)
    results = sorted(
        (r for r in facts.results if (r.method, r.element) in order and r.sample in samples),
        key=lambda r: (samples[r.sample], order[r.method, r.element]),
    )
    return {
        (r.sample, r.method, r.element): print_one(
            r, limits.get((limit_sets[r.sample], r.element)), bases[r.method, r.element], rules.of(r.method)
        )
        for r in results
    }


def print_one(result: ResultFact, limit: LimitFact | None, column: Basis, rule_set: RuleSet) -> Printed:
    """Return one result as printed beside its limit. Raises WrongBasis where the rules allow another basis only."""
    says_how_much = result.value is not None or Mark.OVER_RANGE in result.marks  # “>500” is on a basis too
    if rule_set.basis and says_how_much and result.basis is not rule_set.basis:
        raise WrongBasis(
            f"{result.reported_as} in {result.sample} is {result.basis.value}, and {rule_set} prints results on "
            f"{rule_set.basis.value} only. Choose other reporting rules, or have it evaluated on that basis."
        )
    measured = measured_of(result)
    compared = _compared(measured, result, limit, rule_set)
    printed = compared.printed if compared else print_measured(measured, rule_set)
    off_column = off_column_remark(result.basis, column) if says_how_much else ""
    remarks = remarks_for(printed, result.not_measured, result.control_remarks, rule_set.codes)
    remarks += (*((off_column,) if off_column else ()), *result.request_remarks)
    remarks += (OUTSIDE_SCOPE,) if result.is_outside_scope else ()
    remarks += (compared.footnote,) if compared and compared.footnote else ()
    if result.not_measured is not None:
        return Printed(printed, remarks, compared)
    limits = (print_limit(of, rule_set) for of in (result.detection_limit, result.quantification_limit))
    return Printed(printed, remarks, compared, *limits)


def print_beside(result: ResultFact, limit: LimitFact | None, rule_set: RuleSet) -> Printed:
    """Return the string and the statement of one result, without its remarks: for looking at rules only."""
    compared = _compared(measured_of(result), result, limit, rule_set)
    return Printed(compared.printed if compared else print_measured(measured_of(result), rule_set), (), compared)


def measured_of(result: ResultFact) -> Measured:
    """Return what the printing rules ask of a result."""
    return Measured(
        None if result.not_measured else result.value,
        result.unit,
        Limits(result.detection_limit, result.quantification_limit, result.upper_limit, result.reporting_limit),
        result.expanded_u,
        result.marks,
        result.not_measured.value if result.not_measured else result.why_no_value,
        result.coverage_factor,
    )


def rule_of(limit: LimitFact, rule_set: RuleSet) -> Rule:
    """Return the decision rule that stands with a limit: its own, else that of the reporting rules."""
    if limit.decision_rule is not None:
        return Rule(limit.decision_rule, limit.risk_percent)
    return Rule(rule_set.decision_rule, rule_set.risk_percent)


def limit_in_form(limit: LimitFact, form: str) -> Limit:
    """Return the limit in the form in which a result is printed: limits are on the element.

    Raises NotComparable where no factor leads from the element to that form.
    """
    try:
        times = form_factor(limit.element, limit.element, form, limit.unit)
    except ValueError as problem:
        raise NotComparable(str(problem)) from problem
    return Limit(limit.value * times, limit.unit, limit.side, limit.basis, limit.source)


def _compared(measured: Measured, result: ResultFact, limit: LimitFact | None, rule_set: RuleSet) -> Compared | None:
    """The comparison with a limit, where there is one; another unit or basis is not converted: not to be decided."""
    if limit is None:
        return None
    try:
        beside = limit_in_form(limit, result.reported_as)
        return print_compared(measured, result.basis, beside, rule_of(limit, rule_set), rule_set)
    except NotComparable:
        return Compared(print_measured(measured, rule_set), Statement.CANNOT_BE_DECIDED)
