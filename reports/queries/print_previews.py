"""How results of a submission are printed: value, rule and string side by side, and what other rules would print."""

from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING

from labresults.acts import WrongState
from labresults.calculation.errors import UnknownCompound
from labresults.queries.derived import DerivedOf, derived_beside
from labresults.queries.limits import limits_of, out_of_reach
from labresults.queries.results import newest_selections
from labresults.queries.samples import samples_of_page
from labresults.terms import Basis, DecisionRule, LimitSide
from reports.derived import METHOD
from reports.derived_stated import print_derived
from reports.facts import DerivedFact, LimitFact, ResultFact
from reports.models import RuleSetVersion
from reports.printed import Printed, Rules, in_form, measured_of, print_beside
from reports.queries.derived_printing import printing_steps
from reports.queries.pages import newest_rule_sets
from reports.queries.result_facts import fact_of
from reports.queries.rule_sets import chosen_for, rules_of
from reports.rules.conformity import Statement
from reports.rules.explain_print import PrintStep, explain_print
from reports.rules.forms import NoForm
from reports.rules.ruleset import RuleSet

if TYPE_CHECKING:
    from labresults.models import Limit, Result, Sample, Submission

SAMPLES_A_PAGE = 10


@dataclass(frozen=True)
class PrintLine:
    """One result: what is carried, the steps to the string, and the string by other rules, "" where none are asked.

    result: its key, None where it is computed.
    """

    result: int | None
    method: str
    reported_as: str
    unit: str
    steps: tuple[PrintStep, ...]
    printed: str
    u: str
    statement: str
    rule_set: str
    other: str
    differs: bool
    look: str  # why it can never be decided by its limit, and what to do

    @property
    def rule(self) -> str:
        """The rule that decided, in words."""
        return self.steps[-1].words


@dataclass(frozen=True)
class PrintedSample:
    """A sample of the page with its results."""

    sample: "Sample"
    lines: tuple[PrintLine, ...]


@dataclass(frozen=True)
class PrintPreview:
    """A page of the preview, some samples of a submission."""

    submission: "Submission"
    chosen: RuleSetVersion
    why: str
    others: tuple[RuleSetVersion, ...]
    other: RuleSetVersion | None
    samples: tuple[PrintedSample, ...]
    page: int
    pages: int
    differing: int  # of this page


def print_preview(submission: "Submission", other: str = "", page: int = 1) -> PrintPreview:
    """Results that stand, approved or not, and what is computed from them, as they would be printed; ten queries, and
    up to three where something is computed, whatever the size of the submission.

    other: name of another rule set to compare with. page: of `SAMPLES_A_PAGE` samples, from 1. Raises WrongState where
    rules ask for a form that a result cannot have.
    """
    samples, count = samples_of_page(submission, SAMPLES_A_PAGE, page)
    chosen = chosen_for(submission)
    rules = Rules(rules_of(chosen.main), {code: rules_of(row) for code, row in chosen.by_method.items()})
    newest = tuple(newest_rule_sets())
    beside = next((row for row in newest if row.name == other), None)
    by_others = Rules(rules_of(beside)) if beside else None
    selections = newest_selections(sample_ids=[sample.pk for sample in samples])
    limits = limits_of(submission, samples)
    looks = out_of_reach((selection.result for selection in selections.values()), limits)
    found: dict[int, list[PrintLine]] = {}
    for key in sorted(selections, key=lambda key: (key[0], selections[key].method_id, key[2])):
        result = selections[key].result
        limit = limits.get(key[0], {}).get(key[2])
        found.setdefault(key[0], []).append(_line(result, limit, rules, by_others, looks.get(result.pk, "")))
    results = [selection.result for selection in selections.values()]
    for one in derived_beside(submission, samples, {_place(result): result for result in results}):
        limit = limits.get(one.sample.pk, {}).get(one.row.code) if one.sample else None
        of = one.sample.pk if one.sample else 0
        found.setdefault(of, []).append(_computed_line(one, limit, rules.main, by_others.main if by_others else None))
    shown = tuple(PrintedSample(sample, tuple(found.get(sample.pk, ()))) for sample in samples)
    return PrintPreview(
        submission, chosen.main, chosen.why, newest, beside, shown, page, max(1, ceil(count / SAMPLES_A_PAGE)),
        sum(line.differs for one in shown for line in one.lines),
    )  # fmt: skip


def _line(result: "Result", limit: "Limit | None", rules: Rules, others: Rules | None, look: str) -> PrintLine:
    method = result.evaluation.run.method_version.method.code
    fact, bound = fact_of(result, "", method), _limit(limit)
    rule_set = rules.of(method)
    own = _in_form(fact, rule_set)
    printed = print_beside(own, bound, rule_set)
    other = print_beside(_in_form(fact, others.of(method)), bound, others.of(method)) if others else None
    steps = explain_print(measured_of(own), rule_set)
    return PrintLine(
        result=result.pk,
        method=method,
        reported_as=own.reported_as,
        unit=own.unit,
        steps=steps,
        printed=printed.value.printed,
        u=printed.value.u,
        statement=printed.compared.words if printed.compared else "",
        rule_set=str(rule_set),
        other=other.value.printed if other else "",
        differs=other is not None and _shown(other) != _shown(printed),
        look=look,
    )


def _place(result: "Result") -> tuple[int, str, str]:
    return result.sample_id or 0, result.evaluation.run.method_version.method.code, result.element_id


def _computed_line(one: DerivedOf, limit: "Limit | None", rules: RuleSet, others: RuleSet | None) -> PrintLine:
    bound = _limit(limit)
    fact = DerivedFact(one.definition, one.derived, one.of, limit_set=bound.limit_set if bound else "")
    limits = [bound] if bound else []
    (printed,) = print_derived([fact], rules, limits)
    other = print_derived([fact], others, limits)[0] if others else None
    compared = printed.compared
    return PrintLine(
        result=None,
        method=METHOD,
        reported_as=one.definition.reported_as,
        unit=one.definition.unit,
        steps=printing_steps(one.derived, rules, printed.value.printed),
        printed=printed.value.printed,
        u=printed.value.u,
        statement=compared.words if compared else "",
        rule_set=str(rules),
        other=other.value.printed if other else "",
        differs=other is not None and (other.value.printed, other.value.u) != (printed.value.printed, printed.value.u),
        look=compared.footnote if compared and compared.statement is Statement.CANNOT_BE_DECIDED else "",
    )


def _in_form(fact: ResultFact, rule_set: RuleSet) -> ResultFact:
    try:
        return in_form(fact, rule_set)
    except (NoForm, UnknownCompound) as problem:
        raise WrongState(str(problem)) from problem


def _shown(printed: Printed) -> tuple[str, str]:
    return printed.value.printed, printed.value.u


def _limit(limit: "Limit | None") -> LimitFact | None:
    if limit is None:
        return None
    of = limit.limit_set
    return LimitFact(
        limit.element_id or "", limit.value, limit.unit, str(of), Basis(of.basis), str(of), LimitSide(limit.side),
        DecisionRule(of.decision_rule) if of.decision_rule else None, of.risk_percent, limit.derived_code or "",
    )  # fmt: skip
