"""The appendix of a certificate: control samples, each with what was expected, found and allowed. Pure."""

from decimal import Decimal

from labresults.terms import Measure, Tie
from reports.document import ControlRow
from reports.facts import ControlFact
from reports.rules.rounding import decimals_of, exact, round_decimals, round_for_report, round_significant, text
from reports.rules.ruleset import RuleSet

CONTROL_FIGURES = 4  # figures of an observed value in the appendix: one more than results have
CONTROL_DECIMALS = 3  # and no finer than this: what a blank gives beyond it is arithmetic, not measurement
EXPECTED_FIGURES = 2  # but finer where what is expected would not show so many: 0.0004 is not 0.000


def control_row(control: ControlFact, rule_set: RuleSet) -> ControlRow:
    """Return one control sample as the appendix prints it."""
    # A blank is expected to give nothing: the limit that it is counted in is not an expectation.
    expected = None if control.measure == Measure.TIMES_QUANTIFICATION_LIMIT else control.expected
    finest = CONTROL_DECIMALS
    if expected and rule_set.edition > 1:
        finest = max(finest, decimals_of(round_significant(expected, EXPECTED_FIGURES, rule_set.tie)))

    def figures(value: float | None) -> str:
        if value is None:
            return ""
        rounded = round_for_report(value, CONTROL_FIGURES, finest, rule_set.tie)
        return text(_no_longer_than_given(rounded, value, rule_set.tie) if rule_set.edition > 1 else rounded)

    low, high = control.low, control.high
    bounds = [_bound(bound) for bound in (low, high) if bound is not None]
    limits = " to ".join(bounds) if len(bounds) > 1 else f"at {'least' if high is None else 'most'} {''.join(bounds)}"
    return ControlRow(
        run=control.run,
        kind=control.kind,
        label=control.label,
        analyte=control.analyte,
        unit=control.unit,
        expected=figures(expected),
        found=figures(control.observed),
        measure=control.measure,
        limits=limits,
        verdict=control.verdict,
        accepted_because=control.accepted_because,
    )


def _no_longer_than_given(rounded: Decimal, value: float, tie: Tie) -> Decimal:
    """Without zeros that nobody gave: a certified value of 312 is no 312.0."""
    given = decimals_of(exact(value).normalize())
    return round_decimals(rounded, given, tie) if decimals_of(rounded) > given else rounded


def _bound(bound: float) -> str:
    """What a control sample was judged by: six figures, more than any criterion has, without an exponent."""
    return text(round_significant(bound, 6, Tie.HALF_EVEN).normalize()) if bound else "0"
