"""The appendix of a certificate: control samples, each with what was expected, found and allowed. Pure."""

from labresults.terms import Measure
from reports.document import ControlRow
from reports.facts import ControlFact
from reports.rules.rounding import round_for_report, text
from reports.rules.ruleset import RuleSet

CONTROL_FIGURES = 4  # figures of an observed value in the appendix: one more than results have
CONTROL_DECIMALS = 3  # and no finer than this: what a blank gives beyond it is arithmetic, not measurement


def control_row(control: ControlFact, rule_set: RuleSet) -> ControlRow:
    """Return one control sample as the appendix prints it."""

    def figures(value: float | None) -> str:
        return "" if value is None else text(round_for_report(value, CONTROL_FIGURES, CONTROL_DECIMALS, rule_set.tie))

    low, high = control.low, control.high
    limits = f"{low:g} to {high:g}" if low is not None and high is not None else ""
    limits = limits or (f"at most {high:g}" if high is not None else f"at least {low:g}")
    return ControlRow(
        run=control.run,
        kind=control.kind,
        label=control.label,
        analyte=control.analyte,
        unit=control.unit,
        # A blank is expected to give nothing: the limit that it is counted in is not an expectation.
        expected="" if control.measure == Measure.TIMES_QUANTIFICATION_LIMIT else figures(control.expected),
        found=figures(control.observed),
        measure=control.measure,
        limits=limits,
        verdict=control.verdict,
        accepted_because=control.accepted_because,
    )
