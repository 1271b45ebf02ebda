"""The sentences that stand on every certificate, and those about limits.

Source: ISO/IEC 17025:2017, 7.8.2.1 l (items tested), 7.8.2.2 (data of the client; as received), 7.8.5 (sampling),
7.8.6.2 (which results, which parts of the specification, which rule); ILAC-G8:09/2019, 4.2; JCGM 106:2012, 7 and 8.3.
"""

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import replace

from labresults.terms import LimitSide, Tie
from reports.facts import CertificateFacts, LimitFact, MethodFact
from reports.printed import Key, Printed, Rules, limit_in_form, rule_of
from reports.rules.compared import Compared
from reports.rules.conformity import NotComparable, Statement
from reports.rules.decision_words import USUAL_FACTOR, level_in_words, rule_text
from reports.rules.rounding import exact, round_significant, text

ITEMS_TESTED = "The results relate only to the items tested."
AS_RECEIVED = "The laboratory did not take the samples: results apply to them as they were received."
IN_FULL = "This certificate may be reproduced only in full, unless the laboratory agrees in writing."
INVENTED = "Invented demonstration data: this laboratory, its clients and every number here are made up."
AUTHORITY = "What follows from a statement is for the client and the authority to decide."

OF_ELEMENTS = (
    "The statement of a sample is of its results for the elements that have a limit, as they stand in its row."
)
OF_COMPUTED = (
    "The statement of a sample is of its results for the elements, and of its computed results, that have a limit, as "
    "they stand in its row."
)
BETWEEN_ENDS = (
    "Of a computed result with a term below its detection limit a statement is made only where it holds for all that "
    "the term may be, and no probability is given."
)

ALL_SAMPLES = "all samples"
"""Of a sampling record or an opinion that is of every sample."""

FROM_BEST = (
    Statement.CONFORMS,
    Statement.CONFORMS_WITHIN_U,
    Statement.CANNOT_BE_DECIDED,
    Statement.DOES_NOT_WITHIN_U,
    Statement.DOES_NOT_CONFORM,
)
"""What a sample counts with is the last of these that any of its results has."""

AS_RECEIVED_OTHERS = (
    "Where no record of sampling says otherwise, the laboratory did not take the samples: their results apply to them "
    "as they were received."
)


def standing_statements(facts: CertificateFacts) -> tuple[str, ...]:
    """Return the sentences of every certificate; the first one says when all of it is invented."""
    said = [INVENTED] if facts.invented else []
    said.append(ITEMS_TESTED)
    if not any(note.samples == ALL_SAMPLES for note in facts.sampling_notes):
        said.append(AS_RECEIVED if not facts.sampling_notes else AS_RECEIVED_OTHERS)
    said += [client_data(facts.client_said)] if facts.client_said else []
    return (*said, IN_FULL)


def client_data(said: Sequence[str]) -> str:
    """Return what the client gave, and that results may be wrong where it is (ISO/IEC 17025:2017, 7.8.2.2)."""
    return (
        f"As given by the client, not checked by the laboratory: {', '.join(said)}. "
        "Where these are wrong, results may not be valid for what was meant."
    )


def uncertainty_text(methods: Sequence[MethodFact]) -> str:
    """Return what U is, with its coverage factor and level, and where that of each method comes from."""
    factors = sorted({method.coverage_factor for method in methods})
    named = ", and ".join(f"k = {', '.join(filter(None, (f'{k:g}', level_in_words(k))))}" for k in factors)
    bases = " ".join(f"{method.code}: {method.uncertainty_basis}" for method in methods)
    return f"U is the expanded uncertainty of each value, in its unit; coverage factor {named}. {bases}"


def stated_of(
    printed: Mapping[Key, Printed], computed: Mapping[str, Sequence[tuple[str, Compared]]]
) -> dict[str, set[Statement]]:
    """Return which statements the results of each sample have, by its number; of a sample without a limit nothing.

    computed: statements of derived results, by the number of a sample or the name of a set.
    """
    stated: dict[str, set[Statement]] = {}
    for (sample, _, _), one in printed.items():
        if one.compared is not None:
            stated.setdefault(sample, set()).add(one.compared.statement)
    for of, compared in computed.items():
        stated.setdefault(of, set()).update(one.statement for _, one in compared)
    return stated


def conformity_text(facts: CertificateFacts, rules: Rules, stated: Mapping[str, AbstractSet[Statement]]) -> str:
    """Return what was compared with what, by which rule, and how often each statement was made; "" without a limit.

    stated: the statements of each sample, by its number, and of each set, by its name. Where samples are compared with
    different limits, each set of limits has its number, and the statement of a sample names it.
    """
    if not facts.limits:
        return ""
    numbers = limit_numbers(facts.limits)
    compared = replace(facts, limits=_of_what_was_measured(facts))
    named = [
        f"Limits{_number(number)}: {_named([of for of in compared.limits if of.limit_set == name], facts, rules)}."
        for name, number in numbers.items()
    ]
    others = dict.fromkeys(limit.named for limit in facts.limits if limit not in compared.limits)
    named += [f"Not measured here, though there are limits for it: {', '.join(others)}."] if others else []
    is_computed = any(limit.derived for limit in compared.limits)
    which = [OF_ELEMENTS] if not is_computed else [OF_COMPUTED, BETWEEN_ENDS]
    return " ".join([*named, *_rules(compared, rules), *which, AUTHORITY, *_counted(facts, stated)])


def _of_what_was_measured(facts: CertificateFacts) -> tuple[LimitFact, ...]:
    """The limits that something was compared with; all of a set of which nothing was measured or computed."""
    measured = {determination.element for determination in facts.determinations}
    measured |= {_code(fact.definition.code) for fact in facts.derived}
    met = {limit.limit_set for limit in facts.limits if _of(limit) in measured}
    return tuple(limit for limit in facts.limits if _of(limit) in measured or limit.limit_set not in met)


def _of(limit: LimitFact) -> str:
    return _code(limit.derived) if limit.derived else limit.element


def _code(derived: str) -> str:
    """A derived result among symbols of elements."""
    return f"computed {derived}"


def _counted(facts: CertificateFacts, stated: Mapping[str, AbstractSet[Statement]]) -> Iterator[str]:
    """How many samples, and how many sets, have which statement, in a sentence each, however many there are.

    By the word alone: probabilities differ from sample to sample.
    """
    samples = {sample.number: sample.limit_set for sample in facts.samples}
    sets = {fact.sample_set: fact.limit_set for fact in facts.derived if fact.sample_set in stated}
    if not sets or any(sample in stated for sample in samples):
        yield _counted_of(samples, "samples", "result", facts, stated)
    if sets:
        yield _counted_of(sets, "set of samples" if len(sets) == 1 else "sets of samples", "mean", facts, stated)


def _counted_of(
    limit_sets: Mapping[str, str], things: str, what: str, facts: CertificateFacts,
    stated: Mapping[str, AbstractSet[Statement]],
) -> str:  # fmt: skip
    """limit_sets: what each sample or set is compared with, by its number or name."""
    numbers = limit_numbers(facts.limits)
    counts: Counter[str] = Counter()
    for name in limit_sets:
        if of := stated.get(name):
            which = numbers.get(limit_sets[name], 0)
            counts[max(of, key=FROM_BEST.index).value + (f" (limits {which})" if which else "")] += 1
    said = ", ".join(f"{count} “{words}”" for words, count in counts.most_common())
    by_worst = f", each by its worst {what}" if any(len(stated.get(name, ())) > 1 for name in limit_sets) else ""
    return f"Of {counts.total()} {things}{by_worst}: {said}."


def _rules(facts: CertificateFacts, rules: Rules) -> list[str]:
    """A sentence for each decision rule, with the limits that it stands with where there are several."""
    factors = {method.code: method.coverage_factor for method in facts.methods}
    found: dict[str, list[str]] = {}
    for limit in facts.limits:
        methods = {d.method for d in facts.determinations if d.element == limit.element}
        computed = {one.found.coverage_factor for one in facts.derived if one.definition.code == limit.derived}
        by_method = [(rules.of(method), factors.get(method, USUAL_FACTOR)) for method in sorted(methods)]
        by_code = [(rules.main, factor) for factor in sorted(computed)]
        for rule_set, factor in by_method or by_code or [(rules.main, USUAL_FACTOR)]:
            words = rule_text(rule_of(limit, rule_set), factor)
            found.setdefault(words, []).append(_which(limit, limit_numbers(facts.limits)))
    if len(found) == 1:
        return [f"Decision rule: {words}" for words in found]
    return [f"Decision rule for {', '.join(dict.fromkeys(which))}: {words}" for words, which in found.items()]


def _which(limit: LimitFact, numbers: dict[str, int]) -> str:
    number = numbers[limit.limit_set]
    return f"limits {number}" if number else limit.named


def limit_numbers(limits: Sequence[LimitFact]) -> dict[str, int]:
    """Return the number of each limit set, from 1 in the order in which they stand; 0 where there is only one."""
    names = list(dict.fromkeys(limit.limit_set for limit in limits))
    return {name: number if len(names) > 1 else 0 for number, name in enumerate(names, start=1)}


def _number(of: int) -> str:
    return f" {of}" if of else ""


def conformity_head(facts: CertificateFacts, rules: Rules) -> str:
    """Return what stands over the column of statements; "" without a limit."""
    limits = _of_what_was_measured(facts)
    if len(limits) == 1:
        limit = limits[0]
        side = "" if limit.side is LimitSide.AT_MOST else f"{limit.side} "
        return f"{limit.named} against {side}{_limit(limit, facts, rules)}"
    return "Against the limits" if limits else ""


def conformity_of_row(compared: Sequence[tuple[str, Compared]], number: int) -> tuple[str, bool | None]:
    """Return the statement of a sample in words, and whether it conforms (None: cannot be decided).

    compared: what is reported, and its statement. number: of the limit set, 0 where there is only one.
    """
    if not compared:
        return "", None
    which = f" (limits {number})" if number else ""
    kinds = {one.statement for _, one in compared}
    fails = kinds & {Statement.DOES_NOT_CONFORM, Statement.DOES_NOT_WITHIN_U}
    conforms = False if fails else None if Statement.CANNOT_BE_DECIDED in kinds else True
    if len(kinds) == 1:
        return compared[0][1].statement.value + _probabilities(compared) + which, conforms
    worst = [f"{name} {one.words}" for name, one in compared if one.statement != Statement.CONFORMS]
    rest = [(name, one) for name, one in compared if one.statement == Statement.CONFORMS]
    return "; ".join(worst) + f"; the others conform{_probabilities(rest)}" * bool(rest) + which, conforms


def _probabilities(compared: Sequence[tuple[str, Compared]]) -> str:
    """The probability of each statement, those that are alike together: ", probability Cu 97.7 %, Pb 99.1 %"."""
    alike: dict[str, list[str]] = {}
    for name, one in compared:
        if one.probability:
            alike.setdefault(one.probability, []).append(name)
    if len(compared) == 1:
        return "".join(f", probability {words}" for words in alike)
    said = ", ".join(f"{' '.join(names)} {words}" for words, names in alike.items())
    return f", probability {said}" if said else ""


def _limit(limit: LimitFact, facts: CertificateFacts, rules: Rules) -> str:
    """A limit as it was entered, every figure of it; where its results are printed in another form, in that one too."""
    entered = f"{text(exact(limit.value).normalize())} {limit.unit}"
    return ", as ".join(dict.fromkeys([entered, *_in_other_forms(limit, facts, rules)]))


def _in_other_forms(limit: LimitFact, facts: CertificateFacts, rules: Rules) -> Iterator[str]:
    """The limit in each form in which its element is printed, with one figure more than results have."""
    for of in facts.determinations:
        if of.element == limit.element and of.reported_as != of.element:
            try:
                value = limit_in_form(limit, of.reported_as).value
            except NotComparable:  # its results cannot be decided, and their statements say so
                continue
            rounded = round_significant(value, rules.of(of.method).figures + 1, Tie.HALF_EVEN)
            yield f"{of.reported_as} {text(rounded.normalize())} {limit.unit}"


def limit_said(conformity_text: str, name: str, conformity: str) -> str:
    """Return the limit of one thing as a frozen document says it, "at most 230 mg/L"; "" where it cannot be told.

    name: as over its column; conformity: of its sample, which says of several sets of limits which one.
    """
    number = re.search(r"\(limits (\d+)\)", conformity)
    _, _, said = conformity_text.partition(f"Limits{' ' + number[1] if number else ''}: ")
    sides = "|".join(LimitSide)
    found = re.search(rf"(?:^|, ){re.escape(name)} ((?:{sides}) .+?)(?:, | \()", said.partition(". ")[0])
    return found[1] if found else ""


def _named(limits: Iterable[LimitFact], facts: CertificateFacts, rules: Rules) -> str:
    limits = list(limits)
    named = ", ".join(f"{limit.named} {limit.side} {_limit(limit, facts, rules)}" for limit in limits)
    sources = "; ".join(dict.fromkeys(limit.source for limit in limits))
    return f"{named} ({sources})"
