"""A rule set in a few sentences, for the certificate and for the page of the rule set. Numbers and names only; pure."""

from labresults.terms import DecisionRule, Tie
from reports.rules.censoring import Below
from reports.rules.rounding import text
from reports.rules.ruleset import ANY, Code, RuleSet, in_words


def describe(rule_set: RuleSet) -> str:
    """Return the rule in a few sentences, for the certificate."""
    sentences = [_rounding_sentence(rule_set)]
    if rule_set.below is not Below.DETECTION_LIMIT or not rule_set.words_not_detected:
        sentences.append(_below_sentence(rule_set.below))
    sentences += _word_sentences(rule_set)
    if not rule_set.words_above:
        sentences.append("“>” means more than what follows it: above the range that was measured.")
    sentences += [f"From {text(s.at_least)} {s.unit} on, results are given in {s.to_unit}." for s in rule_set.switches]
    sentences.append("Every decision is made on the unrounded value.")
    return " ".join(sentences)


def in_full(rule_set: RuleSet) -> tuple[tuple[str, str], ...]:
    """Return every setting with what it says, for the page of a rule set."""
    yes_no = {True: "yes", False: "no"}
    detection = "“<” and the detection limit" if rule_set.not_found_by_detection_limit else "as all that is below"
    above = rule_set.words_above or "“>” and the end of the range"
    return (
        ("Figures", _figures(rule_set)),
        ("Figures of a limit", f"at most {rule_set.limit_figures}"),
        ("No finer than the limit", yes_no[rule_set.no_finer_than_detection_limit]),
        ("Finest place", ", ".join(f"{unit}: {in_words(n, 'decimal')}" for unit, n in rule_set.finest_decimals)),
        ("An exact half", "to the even digit" if rule_set.tie is Tie.HALF_EVEN else "away from zero"),
        ("A number must reach", f"the {rule_set.below}"),
        ("Below the detection limit", rule_set.words_not_detected or detection),
        ("Between the two limits", rule_set.words_between or _between(rule_set.below)),
        ("Above the range", above),
        ("Other units", ", ".join(f"{s.unit} to {s.to_unit} from {text(s.at_least)} on" for s in rule_set.switches)),
        ("Oxide or element", ", ".join(f"{element} as {form}" for element, form in rule_set.forms)),
        ("Basis", rule_set.basis.value if rule_set.basis else "as each request asks"),
        ("Uncertainty", _uncertainty(rule_set)),
        ("Qualifiers", ", ".join(code.code for code in rule_set.codes) or "letters, explained one by one"),
        ("Statement of conformity", decision_words(rule_set.decision_rule, rule_set.risk_percent)),
    )


def decision_words(rule: DecisionRule, risk_percent: float | None) -> str:
    """Return a decision rule with its risk: "guard band for a chosen risk, 5 %"."""
    return rule.value if risk_percent is None else f"{rule.value}, {risk_percent:g} %"


def code_words(code: Code) -> str:
    """Return when a qualifier code is given: "“<”: below detection limit"."""
    when = {ANY: "any result", "number": "a number", "<": "“<”", ">": "“>”"}[code.of]
    return when + (f": {' or '.join(mark.value for mark in code.marks)}" if code.marks else "")


def _figures(rule_set: RuleSet) -> str:
    sizes = [f"from {text(size.at_least)} on {size.figures}" for size in rule_set.figures_by_size]
    return ", ".join([str(rule_set.figures), *sizes])


def _between(below: Below) -> str:
    return "a number, with a remark" if below is Below.DETECTION_LIMIT else f"below the {below} as “<”"


def _uncertainty(rule_set: RuleSet) -> str:
    shown = rule_set.uncertainty.value if rule_set.uncertainty_shown else "only beside statements of conformity"
    return shown + ("; the value to its last figure" if rule_set.uncertainty_decides else "")


def _rounding_sentence(rule_set: RuleSet) -> str:
    words = f"Values are rounded once, here: {in_words(rule_set.figures, 'figure')}"
    words += "".join(f", from {text(s.at_least)} on {in_words(s.figures, 'figure')}" for s in rule_set.figures_by_size)
    if rule_set.no_finer_than_detection_limit:
        words += f", and no more decimals than the {rule_set.below.value} has"
    words += "".join(f"; {unit}: at most {in_words(places, 'decimal')}" for unit, places in rule_set.finest_decimals)
    if rule_set.uncertainty_decides:
        words += "; where an uncertainty is given, to its last figure"
    tie = "to the even digit" if rule_set.tie is Tie.HALF_EVEN else "away from zero"
    return f"{words}; an exact half goes {tie}."


def _below_sentence(below: Below) -> str:
    if below is Below.DETECTION_LIMIT:
        return "“<” means not found at the detection limit that follows it."
    return f"“<” means below the {below.value} that follows it, whether found or not."


def _word_sentences(rule_set: RuleSet) -> list[str]:
    """What stands instead of a number, or with another limit than the one a number must reach."""
    said = []
    if rule_set.not_found_by_detection_limit and rule_set.below is not Below.DETECTION_LIMIT:
        said.append("What was not found is given by its detection limit.")
    if rule_set.words_not_detected:
        said.append(f"“{rule_set.words_not_detected}” means below the detection limit.")
    if rule_set.words_between:
        said.append(f"“{rule_set.words_between}” means found, below the quantification limit.")
    if rule_set.words_above:
        said.append(f"“{rule_set.words_above}” means above the range that was measured.")
    if rule_set.basis:
        said.append(f"Every value is on one basis: {rule_set.basis.value}.")
    return said
