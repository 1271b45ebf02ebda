"""The calculation in the measured solution written out, from the reading to the concentration, step by step."""

import math

from labresults.calculation.blanks import carries_blank
from labresults.calculation.drift import DRIFTING
from labresults.calculation.run import FittedCurve, RunTable, Step
from labresults.calculation.solutions import Solutions, blank_at
from labresults.terms import BlankRule, DriftRule, FitOn, Role

NOT_APPLIED = "Not applied by this method version"


def seven(value: float) -> str:
    """Return a number in seven figures, as it is shown; all are carried."""
    return f"{value:.7g}"


def solution_steps(solutions: Solutions, row: int, column: int) -> list[Step]:
    """Return the steps from the reading to the concentration, as far as it can be had; none where nothing was read."""
    run, method = solutions.run, solutions.method
    raw = float(run.signal[row, column])
    if not math.isfinite(raw) or run.saturated[row, column]:
        return []
    signal_unit = method.solution_unit if method.instrument_calibrates else method.signal_unit
    steps = [Step("The reading", _replicates(run, row, column), seven(raw), None, raw, signal_unit)]
    if method.instrument_calibrates:
        note = "calibrated by the instrument, not recomputed"
        steps.append(Step("Through the curve", note, seven(raw), None, raw, method.solution_unit))
    else:
        steps += _curve_steps(solutions, row, column, raw)
    if solutions.why_no_concentration(row, column) is None and not solutions.is_over_range(row, column):
        steps += _addition_steps(solutions, row, column)
        steps += _carried_steps(solutions, row, column)
        steps += _drift_steps(solutions, row, column)
        steps += _interference_steps(solutions, row, column)
        steps += _blank_steps(solutions, row, column)
        steps += _not_applied(solutions, row, column)
    return steps


def _less(value: float, taken: float) -> str:
    return f"{seven(value)} − {seven(taken)}" if taken >= 0 else f"{seven(value)} + {seven(-taken)}"


def _replicates(run: RunTable, row: int, column: int) -> str:
    count, spread = int(run.count[row, column]), float(run.spread[row, column])
    if count < 2 or not math.isfinite(spread):
        return "one reading"
    return f"mean of {count} replicates, standard deviation {spread:.4g}"


def _curve_steps(solutions: Solutions, row: int, column: int, raw: float) -> list[Step]:
    run, method, y = solutions.run, solutions.method, float(solutions.signal[row, column])
    steps = []
    if method.internal_standard is not None and math.isfinite(y):
        standard = float(run.signal[row, run.line_keys.index(method.internal_standard)])
        recovery = float(solutions.internal_standard_recovery[row])
        seen = f"; it stands at {recovery:.4g} % of its calibration solutions" if math.isfinite(recovery) else ""
        note = f"divided by the reading of {method.internal_standard} at this position{seen}"
        steps.append(Step("Ratio to the internal standard", note, seven(raw), seven(standard), y, "1"))
    read = float(solutions.through_curve[row, column])
    curve = solutions.curves.get((run.positions[row].block, column))
    if curve is not None and curve.problem is None and math.isfinite(read):
        steps.append(_curve_step(curve, y, read, method.solution_unit))
    return steps


def _curve_step(curve: FittedCurve, y: float, read: float, solution_unit: str) -> Step:
    b0, b1, b2 = curve.coefficients
    points = "single replicates" if curve.fit_on is FitOn.REPLICATES else "points"
    note = f"{curve.curve.value}, {curve.weighting.value}, {curve.n} {points}, block {curve.block}"
    if b2 == 0:
        return Step("Through the curve", note, _less(y, b0), seven(b1), read, solution_unit)
    note += f"; signal = {seven(b0)} + {seven(b1)} c + {seven(b2)} c²"
    root = f"√({seven(b1)}² + 4 × {seven(b2)} × ({_less(y, b0)}))"
    sign = "−" if b1 + 2.0 * b2 * read < 0 else "+"
    if (b1 < 0) == (sign == "−"):
        numerator, denominator = f"2 × ({_less(y, b0)})", f"{seven(b1)} {sign} {root}"
    else:
        numerator, denominator = f"{'−' if sign == '−' else ''}{root} − {seven(b1)}", f"2 × {seven(b2)}"
    return Step("Through the curve", note, numerator, denominator, read, solution_unit)


def _addition_steps(solutions: Solutions, row: int, column: int) -> list[Step]:
    found = solutions.additions.get((row, column))
    if found is None:
        return []
    solution_unit = solutions.method.solution_unit
    note = (
        f"a straight line through positions {', '.join(str(number) for number in found.positions)}: read = "
        f"{seven(found.intercept)} + {seven(found.slope)} × added; standard uncertainty {found.u:.4g} {solution_unit}"
    )
    note += f". {found.warning}" if found.warning else ""
    shown = seven(found.intercept), seven(found.slope)
    return [Step("By standard additions", note, *shown, float(solutions.read[row, column]), solution_unit)]


def _carried_steps(solutions: Solutions, row: int, column: int) -> list[Step]:
    """Return what may have come from the position before; it is shown, and never taken away."""
    why = solutions.why_carried(row, column)
    if why is None:
        return []
    before, share = float(solutions.before[row, column]), solutions.lines[column].carry_over or 0.0
    shown = f"{seven(share)} × {seven(before)}"
    return [Step("May be carried over", why, shown, None, share * before, solutions.method.solution_unit)]


def _drift_steps(solutions: Solutions, row: int, column: int) -> list[Step]:
    drift, method = solutions.drifting, solutions.method
    read, factor = float(solutions.read[row, column]), float(drift.factor[row, column])
    if not math.isfinite(factor):
        why = drift.why_not(row, column)
        return [] if why is None else [Step("Drift not corrected", why, seven(read), None, read, method.solution_unit)]
    before, after = int(drift.before[row, column]), int(drift.after[row, column])
    one, other = float(drift.at_check[before, column]), float(drift.at_check[after, column])
    share = float(drift.share[row, column])
    numbers = [solutions.run.positions[at].number for at in (before, after)]
    axis = "time" if method.drift_rule is DriftRule.BY_TIME else "position"
    note = (
        f"the checks at positions {numbers[0]} and {numbers[1]} find {seven(one)} and {seven(other)} times what the "
        f"first check of the block found; this position stands {seven(share)} of the way, linear in {axis}"
    )
    shown = f"{seven(one)} + ({_less(other, one)}) × {seven(share)}"
    return [
        Step("Drift between the checks", note, shown, None, factor, "1"),
        Step(
            "Less the drift",
            "divided by that factor",
            seven(read),
            seven(factor),
            float(solutions.drifted[row, column]),
            method.solution_unit,
        ),
    ]


def _interference_steps(solutions: Solutions, row: int, column: int) -> list[Step]:
    others = solutions.interferences.of(column)
    if not others:
        return []
    terms = [
        f" − {seven(solutions.interferences.matrix[column, other])} × {seven(solutions.corrected[row, other])}"
        for other in others
    ]
    names = ", ".join(solutions.lines[other].key for other in others)
    numerator = seven(float(solutions.drifted[row, column])) + "".join(terms)
    corrected = float(solutions.corrected[row, column])
    return [Step("Less what others pretend", names, numerator, None, corrected, solutions.method.solution_unit)]


def _blank_steps(solutions: Solutions, row: int, column: int) -> list[Step]:
    blank, portion = blank_at(solutions, row, column), solutions.run.positions[row].portion
    if blank is None or portion is None:
        return []
    solution_unit, u = solutions.method.solution_unit, float(solutions.u_blank[row, column])
    numbers = [
        str(at.number)
        for index, at in enumerate(solutions.run.positions)
        if at.role is Role.METHOD_BLANK and at.portion is not None and at.portion.batch == portion.batch
        if math.isfinite(solutions.corrected[index, column])
    ]
    what = f"the batch's method blank at position {numbers[0]}"
    if len(numbers) > 1:
        what = f"mean of the batch's method blanks at positions {', '.join(numbers)}"
    note = f"{what}, scaled to this volume and dilution"
    note += f"; standard uncertainty {u:.4g} {solution_unit}" if math.isfinite(u) else ""
    corrected, final = float(solutions.corrected[row, column]), float(solutions.concentration[row, column])
    return [Step("Less the method blank", note, _less(corrected, blank), None, final, solution_unit)]


def _not_applied(solutions: Solutions, row: int, column: int) -> list[Step]:
    """Return one line that names what the method version does not do, with the concentration as it stands."""
    method, position = solutions.method, solutions.run.positions[row]
    off = []
    if method.internal_standard is None:
        off.append("internal standard")
    if not method.by_additions or position.role is not Role.SAMPLE:
        off.append("standard additions")
    if method.drift_rule is DriftRule.NONE:
        off.append("drift")
    elif (row, column) in solutions.drifting.spared:
        off.append("drift (the additions have a slope of their own)")
    elif position.role not in DRIFTING:
        off.append("drift (checks are judged as they were read)")
    if not solutions.interferences.of(column):
        off.append("inter-element correction (none is named at this line)")
    if method.blank_rule is BlankRule.JUDGE:
        off.append(f"method blank ({method.blank_rule.value})")
    elif not carries_blank(position):
        off.append("method blank (this position carries none)")
    final = float(solutions.concentration[row, column])
    return [Step(NOT_APPLIED, ", ".join(off), seven(final), None, final, method.solution_unit)] if off else []
