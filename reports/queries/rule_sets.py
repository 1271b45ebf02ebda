"""Reporting rules: which stand for a submission, what a rule set says in words, and what it prints."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from django.db.models import Q

from labresults.acts import WrongState
from reports.document import CertificateDocument
from reports.models import RuleSetChoice, RuleSetVersion
from reports.queries.pages import newest_rule_sets
from reports.rules.censoring import Limits
from reports.rules.explain_print import PrintStep, explain_print
from reports.rules.printing import Measured
from reports.rules.qualifiers import EPA_CODES
from reports.rules.rule_words import code_words, describe, in_full
from reports.rules.ruleset import Code, RuleSet

if TYPE_CHECKING:
    from labresults.models import Submission

EVERYTHING = "everything"


@dataclass(frozen=True)
class Chosen:
    """The rules that stand for a submission. by_method: others, by the code of a method; why: for what they stand."""

    main: RuleSetVersion
    why: str
    by_method: Mapping[str, RuleSetVersion] = field(default_factory=dict)


@dataclass(frozen=True)
class Example:
    """A result in the worked table of a rule set: what is carried, what is printed, and the rule that decided."""

    carried: str
    unit: str
    limits: str
    printed: str
    u: str
    rule: str


@dataclass(frozen=True)
class RuleSetLine:
    """A rule set in the list: its newest version and what it is chosen for."""

    newest: RuleSetVersion
    words: str
    chosen_for: tuple[str, ...]


def chosen_for(submission: "Submission") -> Chosen:
    """The rules of a submission: its own choice, else its client's, else each method's, else everywhere; two queries.

    The newest choice stands, and the newest version of what it names. Raises WrongState where no rule set was saved.
    """
    newest = {row.name: row for row in newest_rule_sets()}
    if not newest:
        raise WrongState("There are no reporting rules. Save a rule set first.")
    of_everything = Q(submission=None, client=None)
    rows = RuleSetChoice.objects.filter(of_everything | Q(submission=submission) | Q(client=submission.client_id))
    of: dict[str, RuleSetChoice] = {}
    methods: dict[str, RuleSetVersion] = {}
    for row in rows.select_related("method").order_by("pk"):
        if row.method is not None:
            methods.pop(row.method.code, None)
            methods |= {row.method.code: newest[row.rule_set_name]} if row.rule_set_name else {}
            continue
        kind = "submission" if row.submission_id else "client" if row.client_id else EVERYTHING
        of[kind] = row
    for kind in ("submission", "client"):
        if (own := of.get(kind)) is not None and own.rule_set_name:
            return Chosen(newest[own.rule_set_name], f"chosen for this {kind}")
    everywhere = of.get(EVERYTHING)
    if everywhere is None:
        return Chosen(next(iter(newest.values())), "the first one: nothing is chosen", methods)
    return Chosen(newest[everywhere.rule_set_name], "chosen for everything", methods)


def chosen_rules(submission: "Submission") -> int:
    """The key of the rule set that a submission’s certificate is printed by unless another is chosen; two queries."""
    return chosen_for(submission).main.pk


def by_method(submission: "Submission", rule_set: RuleSetVersion) -> dict[str, RuleSet]:
    """The rules of single methods beside these, by code: where these are the ones that stand; two queries."""
    chosen = chosen_for(submission)
    if chosen.main.name != rule_set.name:
        return {}  # somebody chose others for the whole certificate; an older version is no others
    return {code: RuleSet.from_json(row.specification) for code, row in chosen.by_method.items()}


def rules_of_document(document: CertificateDocument) -> tuple[RuleSet, dict[str, RuleSet]]:
    """The rules that a certificate was printed by, and those of single methods by code; one query.

    Raises KeyError where a rule set that it names is not there.
    """
    main, named = _named_on(document)
    saved = {name: RuleSet.from_json(row.specification) for name, row in _saved([main, *named.values()]).items()}
    return saved[main], {method: saved[name] for method, name in named.items()}


def keys_of_rules(document: CertificateDocument) -> list[int]:
    """The keys of every rule set that a document names; one query."""
    main, named = _named_on(document)
    return [row.pk for row in _saved([main, *named.values()]).values()]


def methods_of(document: CertificateDocument) -> set[str]:
    """The codes of the methods that a document has columns of; no query."""
    return {column.key.partition(" ")[0] for column in document.columns}


def _named_on(document: CertificateDocument) -> tuple[str, dict[str, str]]:
    """The rule set of a document, and those of single methods by code, each as “name v1”."""
    main = document.rule_name.partition("; ")[0]
    return main, {column.key.partition(" ")[0]: column.rule_set for column in document.columns if column.rule_set}


def _saved(named: Iterable[str]) -> dict[str, RuleSetVersion]:
    """These rule sets, each written as “name v1”; one query."""
    wanted = set(named)
    rows = RuleSetVersion.objects.filter(name__in={name.rpartition(" v")[0] for name in wanted})
    return {str(row): row for row in rows if str(row) in wanted}


def rule_set_lines() -> list[RuleSetLine]:
    """Every rule set by name, in words, with what it is chosen for; two queries."""
    standing: dict[tuple[int | None, int | None, int | None], RuleSetChoice] = {}
    for row in RuleSetChoice.objects.select_related("submission", "client", "method").order_by("pk"):
        standing[row.submission_id, row.client_id, row.method_id] = row
    of: dict[str, list[str]] = {}
    for row in standing.values():
        of.setdefault(row.rule_set_name, []).append(_of_in_words(row))
    return [
        RuleSetLine(row, describe(RuleSet.from_json(row.specification)), tuple(sorted(of.get(row.name, ()))))
        for row in newest_rule_sets()
    ]


def versions(name: str) -> list[RuleSetVersion]:
    """Every version of a rule set, the newest first; one query. Raises RuleSetVersion.DoesNotExist for none."""
    rows = list(RuleSetVersion.objects.filter(name=name).select_related("made_by").order_by("-version"))
    if not rows:
        raise RuleSetVersion.DoesNotExist(f"There is no rule set {name}.")
    return rows


def rules_of(row: RuleSetVersion) -> RuleSet:
    """What a version says; no query."""
    return RuleSet.from_json(row.specification)


def settings_in_words(rule_set: RuleSet) -> tuple[tuple[str, str], ...]:
    """Every setting that says something; no query."""
    return tuple((name, words) for name, words in in_full(rule_set) if words)


def codes_in_words(rule_set: RuleSet) -> list[tuple[Code, str]]:
    """Qualifier codes with when they are given; no query."""
    return [(code, code_words(code)) for code in rule_set.codes]


EPA = EPA_CODES
"""Qualifier codes that a rule set may take over."""

_EXAMPLES = (
    Measured(4.11991, "g/t", Limits(0.01, 0.03, 100.0), 0.2471),
    Measured(0.138604, "g/t", Limits(0.01, 0.03, 100.0), 0.0113),
    Measured(0.0187, "g/t", Limits(0.01, 0.03, 100.0), 0.0061),
    Measured(0.00962, "g/t", Limits(0.01, 0.03, 100.0), 0.006),
    Measured(65.55, "mg/kg", Limits(0.5, 1.5, 10000.0), 3.31),
    Measured(74.85, "mg/kg", Limits(0.5, 1.5, 10000.0), 3.78),
    Measured(9.996, "mg/kg", Limits(0.05, 0.15, 10000.0), 0.521),
    Measured(18704.3, "mg/kg", Limits(0.5, 1.5, 100000.0), 942.0),
    Measured(30912.0, "mg/kg", Limits(0.5, 1.5, 10000.0), 1560.0),
    Measured(0.004849, "mg/L", Limits(0.0006, 0.002, 10.0), 0.00032),
    Measured(412.37, "mg/L", Limits(0.02, 0.06, 500.0), 18.6),
)
"""Contents of six decades, near limits, at exact halves and over a range (constructed)."""


def worked_table(rule_set: RuleSet) -> list[Example]:
    """What a rule set prints of examples; no query."""
    return [_example(measured, explain_print(measured, rule_set)) for measured in _EXAMPLES]


def _example(measured: Measured, steps: tuple[PrintStep, ...]) -> Example:
    upper = "" if measured.limits.upper is None else f", {measured.limits.upper:g}"
    u = next((step.gives for step in steps if step.name == "uncertainty"), "")
    limits = f"{measured.limits.detection:g}, {measured.limits.quantification:g}{upper}"
    return Example(f"{measured.value!r}", measured.unit, limits, steps[-1].gives, u, steps[-1].words)


def _of_in_words(row: RuleSetChoice) -> str:
    if row.submission_id:
        return f"submission {row.submission}"
    if row.client_id:
        return f"client {row.client}"
    return f"method {row.method}" if row.method_id else EVERYTHING
