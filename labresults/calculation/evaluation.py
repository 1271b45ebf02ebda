"""The whole run in one call: arrays in, curves, judgements, proposals and results out."""

from labresults.calculation.control_samples import judge_control_samples
from labresults.calculation.line_agreement import mark_disagreements
from labresults.calculation.reach import add_touched
from labresults.calculation.repeats import propose_repeats
from labresults.calculation.results import propose_dilutions, report_results
from labresults.calculation.run import Evaluation, MethodSpecification, RunTable
from labresults.calculation.solutions import find_solutions


def evaluate(run: RunTable, method: MethodSpecification) -> Evaluation:
    """Return everything that one evaluation of a run gives; the same input gives the same output, bit for bit.

    Signals become ratios to the internal standard where the method has one; each calibration block is fitted line by
    line; concentrations are read back, corrected for interfering elements and, where the method says so, for the
    method blank; control samples are judged; results are carried to the reporting unit with their limits.
    `concentration` is after all corrections; `u_concentration` is what the curve and the replicates say of the reading,
    while a result's own uncertainty is stated by the method version, or combined from its sources (`budget`). Lines of
    one element that disagree are marked, and what is to be measured again is proposed.
    A line without a curve has no values, and the others are not touched by it.
    Raises NoCurve when the run lacks the internal standard, UnlikeUnits when a standard's unit cannot be used.
    """
    solutions = find_solutions(run, method)
    judged = judge_control_samples(solutions)
    outcomes = add_touched(solutions, judged.outcomes)
    results, disagreements = mark_disagreements(report_results(solutions, outcomes), method)
    return Evaluation(
        curves=tuple(solutions.curves[key] for key in sorted(solutions.curves)),
        concentration=solutions.concentration,
        u_concentration=solutions.u,
        outcomes=outcomes,
        proposals=propose_dilutions(solutions),
        results=results,
        qualities=tuple(solutions.qualities[key] for key in sorted(solutions.qualities)),
        repeats=propose_repeats(solutions, outcomes, results, disagreements) if method.rules > 1 else (),
        disagreements=disagreements,
        rules=method.rules,
        counted=judged.counted,
    )
